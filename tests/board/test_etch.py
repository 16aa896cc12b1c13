"""A day's work on a booted board, under the units' filters: a phone, a picture, a card."""

import json
import time
from contextlib import ExitStack

import numpy as np
import pytest
from PIL import Image

from board.conftest import require_clean_journal
from board.shop import (
    DAEMON,
    DEADLY_FILTER,
    PAGE,
    PAGE_URL,
    drop_in,
    pairing_code,
    session_on,
)
from etchwarden.practice_session.process_group import ProcessGroup
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_SURFACE
from support.harnesses.page_bench import browser, phone_options
from support.harnesses.page_by_http import PageByHttp, field, say_that_the_patch_holds
from support.harnesses.phone_hands import get_ready, put_a_photograph_on_the_bench, set_the_origin
from support.harnesses.plain_client import PlainClient

PATIENCE_MS = 120_000
PAIR = json.dumps([PRACTICE_HEADS["practice-20w"].name, PRACTICE_SURFACE])
DARK, WHITE = 90, 200  # of 255, in the practice tile's picture
CARD = {
    "finds": "power", "pair": PAIR, "place_width_mm": 50, "place_height_mm": 60,
    "low_feed": 1500, "high_feed": 3000, "low_percent": 45, "high_percent": 60,
    "speeds": 2, "powers": 2,
}  # fmt: skip


@pytest.fixture
def session(board, tmp_path):
    """Hands at the machine; a forbidden call ends whoever asks for it."""
    for unit in (DAEMON, PAGE):
        drop_in(board.root, unit, "deadly-filter", DEADLY_FILTER)
    board.run("systemctl", "daemon-reload")
    board.run("systemctl", "restart", DAEMON, PAGE)
    board.until(lambda: board.is_active(PAGE), "the page")
    with ProcessGroup(tmp_path) as household:
        session = session_on(board, household, tmp_path)
        board.until(lambda: state(session) == "idle", "an idle machine")
        yield session


def test_a_phone_paired_by_its_code_gets_a_photograph_onto_the_tile(
    board, session, installed, note_figure
):
    sync_api = pytest.importorskip("playwright.sync_api")
    begun_s = time.monotonic()
    expect = sync_api.expect
    expect.set_options(timeout=PATIENCE_MS)
    code = pairing_code(board)
    with ExitStack() as parts:
        chromium = parts.enter_context(browser())
        phone = parts.enter_context(chromium.new_context(**phone_options())).new_page()
        phone.set_default_timeout(PATIENCE_MS)

        phone.goto(f"{PAGE_URL}/pair")
        phone.get_by_label("Six digits").fill(code)
        phone.get_by_role("button", name="Pair").tap()
        put_a_photograph_on_the_bench(phone, expect)
        set_the_origin(phone, expect)
        get_ready(phone, expect)
        session.press_until(lambda: "start" in status(session)["may"])
        phone.get_by_role("button", name="Start the etch").tap()
        expect(phone.locator("h1")).to_have_text("Etched")
        cookie = phone.context.cookies()[0]["value"]

    run = last_run(session)
    assert (run["ended"], run["etched_rows"]) == ("complete", run["rows"])
    assert tile_has_black_and_white(board, session, "/run/practice/tile.png")
    assert restarts(board) == ["0", "0"]
    require_clean_journal(board, code, f"{code[:3]} {code[3:]}", cookie)
    minutes = installed.minutes + (time.monotonic() - begun_s) / 60
    note_figure(f"{installed.release}: a bare container to a finished etch {minutes:.1f} minutes")


def test_the_photograph_of_a_test_tile_is_read_under_the_units_limits(board, session):
    page = PageByHttp(PAGE_URL)
    page.pair(pairing_code(board))

    at = page.post(page.look("/test-tiles/new"), "/test-tiles/new", **CARD)
    at = at.removeprefix(PAGE_URL)
    page.post(settled(board, page, at), f"{at}/bench")
    with PlainClient(session.socket) as daemon:
        session.arm(daemon)
        daemon.call("start", acknowledge_long_run=True)
    board.until(lambda: (status(session)["run"] or {}).get("ended"), "the card's end", 600)
    assert last_run(session)["ended"] == "complete", last_run(session)["because"]
    photo = tile_photo(board, session, "/run/practice/card.png")
    page.post(settled(board, page, at), f"{at}/photos", photo=photo, wiped="yes")
    say_that_the_patch_holds(page, settled(board, page, at), at)
    read = settled(board, page, at)

    assert "What it showed" in read, read
    assert float(field(read, "feed")) in {1500.0, 3000.0}
    assert restarts(board) == ["0", "0"]


def status(session):
    with PlainClient(session.socket) as daemon:
        return daemon.call("status")


def state(session):
    try:
        return status(session)["state"]
    except OSError:
        return None


def last_run(session):
    with PlainClient(session.socket) as daemon:
        return daemon.call("runs", limit=1)["runs"][0]


def tile_photo(board, session, inside):
    """Photograph the wiped tile: the practice machine writes the picture where it may."""
    with session.ask_machine() as machine:
        machine.call("picture", after=inside)
    return board.path(inside).read_bytes()


def tile_has_black_and_white(board, session, inside):
    tile_photo(board, session, inside)
    with Image.open(board.path(inside)) as picture:
        greys = np.asarray(picture.convert("L"))
    return (greys < DARK).any() and (greys > WHITE).any()


def settled(board, page, at):
    """Return a card's page once it is more than the progress of some work."""
    board.until(lambda: "Working on it" not in page.look(at), "the end of the work")
    return page.look(at)


def restarts(board):
    return [board.show(unit, "NRestarts") for unit in (DAEMON, PAGE)]
