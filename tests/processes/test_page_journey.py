"""The whole of it with a phone in hand: real daemon, real practice machine, real browser.

Nothing is slept for: every step waits for what a person would see.
"""

import re
import subprocess
import sys
import time

import pytest

from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from support.harnesses.page_bench import phone_options
from support.harnesses.phone_hands import get_ready, put_a_photograph_on_the_bench, set_the_origin

PATIENCE_S = 60.0
ROWS = 40  # long enough for the lid to be opened before the last of them
SPEEDUP = "3"  # the starting minute lasts twenty seconds, enough for a busy machine


class Shop:
    """A box, a machine and a page, and nothing on the bench."""

    def __init__(self, folder, household, context):
        self.folder = folder
        self.household = household
        self.session = Session(household, folder)
        self.context = context
        self.context.set_default_timeout(PATIENCE_S * 1000)
        self.session.start_machine("--speedup", SPEEDUP)
        self.household.start(
            "page", "page", "--daemon", str(folder / "daemon.sock"),
            "--folder", str(folder / "page"), "--port", "0",
            "--practice", str(folder / "machine"),
        )  # fmt: skip
        self.url = self._address()

    def code(self):
        """Ask at the box for six digits."""
        command = [sys.executable, "-m", "etchwarden", "pair", "--folder", self.folder / "page"]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        return re.search(r"\b\d{3} ?\d{3}\b", said)[0]

    def _address(self):
        deadline_s = time.monotonic() + PATIENCE_S
        while not (found := re.search(r"http://\S+:\d+/", self._log())):
            assert time.monotonic() < deadline_s, self._log()
            time.sleep(0.05)
        return found[0].rstrip("/")

    def _log(self):
        return (self.folder / "page.log").read_text()


@pytest.fixture
def shop(tmp_path, chromium):
    with chromium.new_context(**phone_options()) as context, ProcessGroup(tmp_path) as household:
        yield Shop(tmp_path, household, context)


def press_the_button(hand):
    with hand.expect_response("**/practice/press-button"):
        hand.get_by_role("button", name="Press the button at the machine").tap()


def pair(phone, shop, expect):
    phone.goto(shop.url)
    phone.get_by_label("Six digits").fill(shop.code())
    phone.get_by_role("button", name="Pair").tap()
    expect(phone.locator("h1")).to_have_text("No picture loaded")


def let_it_be_armed(phone, shop):
    """Press the button as often as the safety relay has fallen: see pressing_until."""
    shop.session.press_until(
        phone.get_by_role("button", name="Get ready", disabled=False).is_visible
    )


def start_with_somebody_there(phone, shop):
    start = phone.get_by_role("button", name="Start the etch", disabled=False)
    shop.session.press_until(start.is_visible)
    start.tap()


def open_the_lid_on_the_way(phone, hand, expect):
    expect(phone.locator("[data-live=rows_done]")).to_have_text(re.compile(r"^[1-9]"))
    hand.get_by_role("button", name="Open the lid").tap()
    expect(phone.locator("h1")).to_have_text("Stopped")
    expect(phone.get_by_text("The lid is open.").first).to_be_visible()


def take_it_up_again(phone, hand, expect):
    hand.get_by_role("button", name="Close the lid").tap()
    expect(phone.locator("[data-live='condition lid closed']")).to_contain_text("as it should be")
    phone.get_by_role("button", name="Reset").tap()
    expect(phone.get_by_text("closed again, reset")).to_be_visible()
    phone.get_by_role("link", name="Continue this etch").tap()
    phone.get_by_label("Tile and head have not moved.").check()
    phone.get_by_role("button", name="Load the rest").tap()
    expect(phone.locator("h1")).to_have_text("Loaded")


def say_how_it_came_out(phone, expect):
    phone.get_by_role("link", name="Photograph and rate the wiped tile").tap()
    phone.get_by_label("Good").check()
    phone.get_by_label("Note").fill("crisp down to the last row")
    phone.get_by_role("button", name="Save").tap()
    expect(phone.locator("#verdict .said")).to_contain_text("Good. Crisp down to the last row.")


def find_it_in_the_logbook(phone, expect):
    phone.get_by_role("link", name="Logbook").tap()
    expect(phone.locator(".entry")).to_have_count(2)
    phone.locator(".search summary").tap()
    phone.get_by_label("Words").fill("crisp")
    phone.get_by_role("button", name="Search").tap()
    expect(phone.locator(".entry")).to_have_count(1)
    phone.locator(".entry").tap()
    for quantity in ("Speed", "Power"):
        expect(phone.get_by_role("img", name=f"{quantity} over the rows")).to_be_visible()
    phone.locator(".chart summary").first.tap()
    expect(phone.locator(".chart tbody tr").first).to_be_visible()


def test_from_pairing_to_the_logbook_with_the_lid_opened_on_the_way(shop, expect):
    phone, hand = shop.context.new_page(), shop.context.new_page()
    complaints = []
    phone.on("pageerror", lambda error: complaints.append(str(error)))
    pair(phone, shop, expect)
    hand.goto(f"{shop.url}/practice")
    phone.bring_to_front()

    put_a_photograph_on_the_bench(phone, expect, height_mm=ROWS // 10)
    set_the_origin(phone, expect)
    let_it_be_armed(phone, shop)
    get_ready(phone, expect)
    press_the_button(hand)
    start_with_somebody_there(phone, shop)
    expect(phone.locator("h1")).to_have_text("Etching")

    open_the_lid_on_the_way(phone, hand, expect)
    take_it_up_again(phone, hand, expect)
    press_the_button(hand)  # the lid has let the safety relay fall
    let_it_be_armed(phone, shop)
    get_ready(phone, expect)
    start_with_somebody_there(phone, shop)
    expect(phone.locator("h1")).to_have_text("Etched")
    expect(phone.get_by_text("It took")).to_be_visible()

    say_how_it_came_out(phone, expect)
    find_it_in_the_logbook(phone, expect)
    assert complaints == []
