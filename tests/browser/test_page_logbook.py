"""Pairing, the paired phones and the logbook, in a real browser of a phone's size."""

import csv
import time

import pytest

from etchweb.auth.roles import Role
from etchweb.auth.store import Store
from support.fakes.fake_daemon import ETCH
from support.harnesses.page_bench import served_page

CODE = "123456"
NOTED = {"id": 1}


@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    """A page as it is served in a shop: nobody gets in without pairing."""
    folder = tmp_path_factory.mktemp("closed")
    with served_page(folder) as served:
        served.store = Store(folder)
        yield served


def test_a_phone_pairs_and_watches(open_phone, closed, expect):
    closed.daemon.tell("etching")
    closed.store.add_code(CODE, Role.OPERATE, time.time())
    phone = open_phone(url=closed.url)
    expect(phone.get_by_role("heading", name="Pair this phone")).to_be_visible()

    phone.get_by_label("Six digits").fill("123 456")
    phone.get_by_label("Phone name").fill("Ann’s phone")
    phone.get_by_role("button", name="Pair").tap()

    expect(phone.locator("h1")).to_have_text("Etching")
    expect(phone.get_by_role("button", name="Stop")).to_be_enabled()


def test_a_wrong_code_is_told_where_it_was_typed(open_phone, closed, expect):
    phone = open_phone(url=closed.url)

    phone.get_by_label("Six digits").fill("000000")
    phone.get_by_role("button", name="Pair").tap()

    expect(phone.get_by_role("alert")).to_contain_text("That is not the code")
    expect(phone.get_by_label("Six digits")).to_have_attribute("aria-invalid", "true")


def test_a_phone_shut_out_while_it_watches_hears_no_more(open_phone, closed, expect):
    closed.daemon.tell("etching")
    closed.store.add_code(CODE, Role.WATCH, time.time())
    phone = open_phone(url=closed.url)
    phone.get_by_label("Six digits").fill(CODE)
    phone.get_by_role("button", name="Pair").tap()
    expect(phone.locator("h1")).to_have_text("Etching")

    for paired in closed.store.phones():
        closed.store.forget_phone(paired.id)

    expect(phone.get_by_role("heading", name="Pair this phone")).to_be_visible(timeout=60_000)


def test_from_the_list_to_an_etch_and_its_table(open_phone, expect, tmp_path):
    phone = open_phone("/logbook")

    phone.get_by_role("link", name=f"{ETCH['title']} Etched").tap()
    expect(phone.get_by_role("heading", name="As it really ran")).to_be_visible()
    with phone.expect_download() as download:
        phone.get_by_role("link", name="Every row as a table (CSV)").tap()

    download.value.save_as(tmp_path / "etch.csv")
    with (tmp_path / "etch.csv").open(newline="") as file:
        assert len(list(csv.DictReader(file))) == 970
    assert phone.complaints == []


def test_the_figures_of_a_chart_can_be_read(open_phone, expect):
    phone = open_phone("/logbook/7")

    phone.locator("summary").first.tap()

    expect(phone.get_by_role("row", name="301–400")).to_be_visible()


def test_moments_are_told_by_the_phones_own_calendar(open_phone, expect):
    phone = open_phone("/logbook/7", timezone_id="Asia/Tokyo")

    expect(phone.locator("time").first).to_have_text("26 Nov 2026, 02:02")


def test_a_verdict_can_be_given_with_the_keyboard_alone(open_phone, served, expect):
    served.daemon.answers["save_verdict"] = lambda **said: served.daemon.said.update(said) or NOTED
    phone = open_phone("/logbook/7")
    phone.get_by_label("Good").focus()

    phone.keyboard.press("ArrowDown")
    phone.keyboard.press("Tab")
    phone.keyboard.type("paint not dry")
    phone.keyboard.press("Tab")
    phone.keyboard.type("a pale corner")
    phone.keyboard.press("Tab")
    with phone.expect_navigation():
        phone.keyboard.press("Enter")

    said = served.daemon.said
    assert (said["verdict"], said["cause"], said["note"]) == (
        "pale", "paint not dry", "a pale corner",
    )  # fmt: skip


def test_printed_an_etch_is_its_tile_its_charts_and_its_facts(open_phone, expect):
    phone = open_phone("/logbook/7")

    phone.emulate_media(media="print", color_scheme="dark")

    for shown in (".tile", ".chart svg", ".facts"):
        expect(phone.locator(shown).first).to_be_visible()
    for left_out in ("nav", "form", "summary", ".quiet-link"):
        expect(phone.locator(f"{left_out}:visible")).to_have_count(0)
    assert phone.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
