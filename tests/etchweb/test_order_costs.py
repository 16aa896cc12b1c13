"""What tiles and orders cost: the sums are those of a sheet of paper."""

import csv
import io
from dataclasses import replace

import pytest

from etchweb.orders.costs import BOOK_COLUMNS, book_rows, item_account, order_account, tile_cost
from etchwire.calls.json_values import from_json_value
from etchwire.calls.orders import TileEntry, WholeOrder
from etchwire.catalogue.orders import ShopFigures
from support.fakes.fake_catalogue import ITEM, ORDER

FIGURES = ShopFigures(
    machine_per_h=3.0, labour_per_h=30.0, prepare_min=4.0, paint_min=2.0, load_min=1.0,
    wipe_min=2.0, pack_min=1.0, tile=1.5, paint=0.5, filter=60.0, filter_life_h=100.0, lens=40.0,
    lens_life_h=200.0,
)  # fmt: skip
TILE = TileEntry(
    run_id=1, lot=None, ended="complete", verdict="good", elapsed_s=5400.0, beam_s=3600.0
)


def order_of(*verdicts, price=15.0, ratio=0.25):
    tiles = [
        {"run_id": n, "lot": None, "ended": "complete", "verdict": verdict, "elapsed_s": 5400.0,
         "beam_s": 3600.0}
        for n, verdict in enumerate(verdicts)
    ]  # fmt: skip
    item = ITEM | {"price": price}
    entry = ORDER["items"][0] | {"item": item, "tiles": tiles, "test_tiles_ratio": ratio}
    return from_json_value(ORDER | {"items": [entry]}, WholeOrder)


def test_a_tile_adds_up_by_hand():
    """1.5 h of machine at 3, 10 min of work at 30 an hour, and a quarter of a test tile."""
    cost = tile_cost(TILE, FIGURES, test_tiles_ratio=0.25)

    assert cost.machine == 4.5
    assert cost.labour == 5.0
    assert (cost.tile, cost.paint, cost.test_tiles) == (1.5, 0.5, 0.5)
    assert cost.filter == pytest.approx(0.9)  # 60 · 1.5 / 100
    assert cost.lens == pytest.approx(0.2)  # 40 · 1 / 200
    assert cost.total == pytest.approx(13.1)


def test_an_order_adds_up_by_hand_with_its_remakes_borne_by_the_shop():
    account = order_account(order_of("good", "pale", "good"), FIGURES)

    assert (account.good_tiles, account.remade_tiles) == (2, 1)
    assert account.made.total == pytest.approx(26.2)
    assert account.remakes.total == pytest.approx(13.1)
    assert account.paid == 30.0
    assert account.cost == pytest.approx(39.3)
    assert account.margin == pytest.approx(-9.3)


def test_a_tile_that_nobody_judged_counts_for_neither():
    account = order_account(order_of("good", None), FIGURES)

    assert (account.good_tiles, account.remade_tiles, account.paid) == (1, 0, 15.0)


def test_more_good_tiles_than_were_ordered_are_not_paid_for():
    (entry,) = order_of("good", "good", "good").items

    assert item_account(entry, FIGURES).paid == 30.0


def test_wear_that_nobody_counts_costs_nothing():
    uncounted = replace(FIGURES, filter_life_h=0.0, lens_life_h=0.0)

    cost = tile_cost(TILE, uncounted, test_tiles_ratio=0.0)

    assert (cost.filter, cost.lens, cost.test_tiles) == (0.0, 0.0, 0.0)


def test_the_books_add_up_and_name_nobody():
    (row,) = book_rows(order_of("good", "pale", "good"), FIGURES)
    table = dict(zip(BOOK_COLUMNS, row, strict=True))

    parts = ("machine", "labour", "tile", "paint", "filter", "lens", "test_tiles", "remakes")
    assert sum(float(table[part]) for part in parts) == pytest.approx(float(table["cost"]))
    assert float(table["paid"]) - float(table["cost"]) == pytest.approx(float(table["margin"]))
    assert (table["cost"], table["margin"], table["currency"]) == ("39.30", "-9.30", "EUR")
    assert "Ada" not in str(row)


def test_what_a_tile_costs_is_entered_once(phone, daemon):
    typed = {"currency": "CHF", "machine_per_h": "2,5", "tile": "1.2"}

    assert phone.press("orders/costs", form=typed).status_code == 303

    figures = daemon.said["save_shop"]["figures"]
    assert (figures["currency"], figures["machine_per_h"], figures["lens"]) == ("CHF", 2.5, 0.0)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [({"tile": "-1"}, "Tile must be"), ({"currency": ""}, "no name of a currency")],
)
def test_costs_that_cannot_be_are_refused(phone, daemon, wrong, words):
    answer = phone.press("orders/costs", form={"currency": "EUR"} | wrong)

    assert answer.status_code == 422
    assert words in answer.text
    assert "save_shop" not in daemon.said


def test_an_order_shows_what_it_cost_once_somebody_said_the_figures(phone, daemon):
    assert "Margin" not in phone.look("/orders/3").text

    daemon.answers["shop"] = {
        "figures": FIGURES.to_table(), "who": "Ada", "changed_at_utc": "2026-11-24T09:00:00+00:00",
    }  # fmt: skip

    assert "remakes" in phone.look("/orders/3").text


def test_the_books_are_a_table_for_a_spreadsheet(phone, daemon):
    done = {"id": 3, "customer": "=cmd", "due_on": "", "state": "done", "tiles": 2, "good": 2,
            "to_make": 0}  # fmt: skip
    daemon.answers["orders"] = {"orders": [done], "total": 1, "next_from": None}

    answer = phone.look("/orders/costs.csv")

    assert answer.mimetype == "text/csv"
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["order"], row["item"]) for row in rows] == [("3", "7")]
    assert "cmd" not in answer.text
