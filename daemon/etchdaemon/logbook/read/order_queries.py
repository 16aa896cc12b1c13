"""What is read of orders: their states follow from proofs, runs and verdicts, as on the wire."""

import json
import sqlite3
from collections import defaultdict
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.read.selecting import fitting, rows_asked, select
from etchwire.calls.orders import (
    ItemEntry,
    Order,
    OrderLine,
    Orders,
    OrdersPage,
    ProofEntry,
    Shop,
    ShopEntry,
    TileEntry,
    WholeOrder,
)
from etchwire.catalogue.order_states import DONE, ItemFacts, item_state, order_state, tiles_to_make
from etchwire.catalogue.orders import OrderItem, ShopFigures

# A tile is one chain of runs: its last run says how it ended, and bears the verdict.
_TILE: Final = """
    FROM assignment JOIN run ON run.assignment_id = assignment.id
    WHERE assignment.item_id = item.id
        AND NOT EXISTS (SELECT 1 FROM run AS later WHERE later.continues_run_id = run.id)
"""
_VERDICT: Final = "(SELECT verdict FROM verdict WHERE run_id = run.id ORDER BY id DESC LIMIT 1)"
# There is one bench: what was assigned last lies on it until it was etched. A tile that was
# stopped stays there until the next one, or a verdict.
_FACTS: Final = f"""
    SELECT item.order_id, item.id, item.tiles, (
            SELECT json_group_array({_VERDICT}) {_TILE} AND {_VERDICT} IS NOT NULL
        ), (
            SELECT count(*) {_TILE} AND ended = 'complete' AND {_VERDICT} IS NULL
        ), (
            SELECT count(*) {_TILE} AND ended IS NOT 'complete' AND {_VERDICT} IS NULL
                AND (ended IS NULL OR assignment.id = (SELECT max(id) FROM assignment))
        ) + (
            SELECT count(*) FROM assignment WHERE assignment.item_id = item.id
                AND id = (SELECT max(id) FROM assignment)
                AND NOT EXISTS (SELECT 1 FROM run WHERE assignment_id = assignment.id)
        ), (
            SELECT json_array(answer, shown_sha256 = item.shown_sha256) FROM proof
            WHERE item_id = item.id ORDER BY id DESC LIMIT 1
        )
    FROM order_item AS item
"""  # noqa: S608 (made of constants)
_GOOD: Final = "good"
_NOT_SHOWN: Final = '["", 0]'
_SHOWN_ANSWERS: Final = ("shown", "yes")

_TILES: Final = f"""
    WITH RECURSIVE chain AS (
        SELECT run.id AS last_id, run.* {_TILE.replace("item.id", "?1")}
        UNION ALL
        SELECT chain.last_id, run.* FROM chain JOIN run ON run.id = chain.continues_run_id
    )
    SELECT run.id AS run_id, (SELECT lot FROM assignment WHERE id = run.assignment_id) AS lot,
        run.ended, {_VERDICT} AS verdict, coalesce(sum(chain.elapsed_s), 0.0) AS elapsed_s,
        coalesce(sum(chain.beam_s), 0.0) AS beam_s
    FROM chain JOIN run ON run.id = chain.last_id GROUP BY run.id ORDER BY run.id
"""  # noqa: S608 (made of constants)
_PROOFS: Final = """
    SELECT answer, shown_sha256, way, at_utc, who, shown_sha256 = ?2 AS is_current
    FROM proof WHERE item_id = ?1 ORDER BY id DESC LIMIT 20
"""
_TRIALS: Final = """
    SELECT DISTINCT json_extract(summary_json, '$.trial') FROM reading
    JOIN card ON card.number = card_number
    WHERE card.surface = ? AND json_extract(summary_json, '$.trial') IS NOT NULL ORDER BY 1
"""
_TEST_TILES: Final = """
    SELECT sum(is_card), sum(NOT is_card) FROM (
        SELECT EXISTS (SELECT 1 FROM card WHERE card.gcode_sha256 = run.gcode_sha256) AS is_card
        FROM run WHERE surface = ? AND continues_run_id IS NULL
    )
"""


def orders(book: sqlite3.Connection, call: Orders) -> OrdersPage:
    """Return open or done orders, those due first first; a day that nobody named comes last."""
    facts: dict[int, list[ItemFacts]] = defaultdict(list)
    for order_id, _, *row in book.execute(_FACTS):
        facts[order_id].append(_facts(*row))
    lines = [
        _line(order_id, customer, due_on, facts[order_id])
        for order_id, customer, due_on in book.execute(
            "SELECT id, customer, due_on FROM customer_order ORDER BY due_on = '', due_on, id"
        )
    ]
    found = [one for one in lines if (one.state == DONE) is call.is_done]
    if call.is_done:
        found.reverse()
    page = fitting(found[call.from_place :][: rows_asked(call.limit)])
    end = call.from_place + len(page)
    return OrdersPage(orders=page, total=len(found), next_from=end if end < len(found) else None)


def order(book: sqlite3.Connection, call: Order) -> WholeOrder:
    """Return one order with its items; raise CommandRefused."""
    found = book.execute("SELECT * FROM customer_order WHERE id = ?", (call.id,))
    names = [column[0] for column in found.description]
    row = found.fetchone()
    if row is None:
        raise CommandRefused(f"There is no order {call.id} in the logbook.")
    items = tuple(
        _item(book, item_id, _facts(*facts))
        for _, item_id, *facts in book.execute(f"{_FACTS} WHERE order_id = ?", (call.id,))
    )
    state = order_state(one.state for one in items)
    return WholeOrder(**dict(zip(names, row, strict=True)), items=items, state=state)


def shop(book: sqlite3.Connection, _call: Shop) -> ShopEntry:
    """Return what a tile costs the shop."""
    found = book.execute("SELECT figures_json, who, changed_at_utc FROM shop").fetchone()
    figures_json, who, changed_at_utc = found or ("{}", "", "")
    figures = ShopFigures.from_table(json.loads(figures_json))
    return ShopEntry(figures=figures, who=who, changed_at_utc=changed_at_utc)


def _facts(
    count: int, verdicts_json: str, unjudged: int, on_bench: int, proof_json: str | None
) -> ItemFacts:
    verdicts = json.loads(verdicts_json)
    answer, is_current = json.loads(proof_json or _NOT_SHOWN)
    return ItemFacts(
        count=count,
        good=verdicts.count(_GOOD),
        bad=len(verdicts) - verdicts.count(_GOOD),
        unjudged=unjudged,
        on_bench=on_bench,
        is_shown=bool(is_current) and answer in _SHOWN_ANSWERS,
        is_accepted=bool(is_current) and answer == "yes",
    )


def _line(order_id: int, customer: str, due_on: str, items: list[ItemFacts]) -> OrderLine:
    return OrderLine(
        id=order_id,
        customer=customer,
        due_on=due_on,
        state=order_state(map(item_state, items)),
        tiles=sum(one.count for one in items),
        good=sum(one.good for one in items),
        to_make=sum(map(tiles_to_make, items)),
    )


def _item(book: sqlite3.Connection, item_id: int, facts: ItemFacts) -> ItemEntry:
    (item_json,) = book.execute(
        "SELECT item_json FROM order_item WHERE id = ?", (item_id,)
    ).fetchone()
    item = OrderItem.from_table(json.loads(item_json) | {"id": item_id})
    surface = book.execute("SELECT 1 FROM surface WHERE name = ?", (item.surface,)).fetchone()
    cards, others = book.execute(_TEST_TILES, (item.surface,)).fetchone()
    return ItemEntry(
        id=item_id,
        item=item,
        fingerprint=item.fingerprint,
        state=item_state(facts),
        to_make=tiles_to_make(facts),
        is_surface_known=surface is not None,
        trials=tuple(trial for (trial,) in book.execute(_TRIALS, (item.surface,))),
        test_tiles_ratio=(cards or 0) / others if others else 0.0,
        proofs=tuple(select(book, ProofEntry, _PROOFS, (item_id, item.fingerprint))),
        tiles=tuple(select(book, TileEntry, _TILES, (item_id,))),
    )
