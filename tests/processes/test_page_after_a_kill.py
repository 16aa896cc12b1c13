"""The daemon is killed in mid-run: the next one's page offers the rest, and the tile gets whole."""

import re
import signal
import time
from dataclasses import replace

import numpy as np
import pytest
import serial

from etchpath.writer.dots import Order, write_job
from etchpractice.scenario.people import ANSWERS
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.page_bench import phone_options
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 60.0
ROWS, COLUMNS = 14, 200
PIECES = COLUMNS // 10  # of a millimetre each
# Single dots that the 8-bit controller keeps up with: a starving row is no two times alike.
FEED_MM_PER_MIN = 2000.0
SPEEDUP = "3"  # the starting minute lasts twenty seconds, enough for a busy machine
HOME_MM = 1.0  # where the practice machine comes to rest after homing, from its bed's corner
LEAST, MOST, TWICE = 0.5, 1.6, 2.2  # of the light that an average piece of a row gets


class Box:
    """A machine that can home, a daemon that can be killed, and a page that outlives it."""

    def __init__(self, folder, household):
        self.folder, self.household = folder, household
        self.session = Session(household, folder)
        self.session.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=replace(PRACTICE_RECIPES["practice-20w"], feed_mm_per_min=FEED_MM_PER_MIN),
            halftone="none",
        )
        with (self.session.job / GCODE_NAME).open("wb") as file:
            self.sheet = write_job(patch(ROWS, COLUMNS), file, order)
        (self.session.job / SHEET_NAME).write_text(self.sheet.to_json())
        self.machine = folder / "machine"
        household.start("practice machine", "machine", "--folder", str(self.machine),
                        "--speedup", SPEEDUP)  # fmt: skip
        self.until((self.machine / "control.sock").is_socket)
        self._give_it_switches()
        self.start_daemon()
        household.start("page", "page", "--daemon", str(folder / "daemon.sock"),
                        "--folder", str(folder / "page"), "--port", "0", "--open-to-loopback",
                        "--practice", str(self.machine))  # fmt: skip
        self.url = self.until(self._address)

    def until(self, there):
        """Wait for something, and return it."""
        deadline_s = time.monotonic() + PATIENCE_S
        while not (found := there()):
            self.household.require_all()
            assert time.monotonic() < deadline_s
            time.sleep(0.02)
        return found

    def ask(self, method, **params):
        with PlainClient(self.session.socket) as daemon:
            return daemon.call(method, **params)

    def until_it_may(self, wish):
        return self.until(lambda: wish in self.ask("status")["may"])

    def start_daemon(self):
        sock = self.folder / "daemon.sock"
        sock.unlink(missing_ok=True)
        self.household.start("daemon", "daemon", "--port", str(self.machine / "port"),
                             "--socket", str(sock), "--state", str(self.folder / "records"),
                             "--practice", str(self.machine))  # fmt: skip
        self.until(sock.is_socket)

    def home(self):
        self.until_it_may("home")
        self.ask("home")
        self.until_it_may("set_origin")

    def light(self):
        """Return the light on each piece of each row of the picture, the top row first."""
        picture = self.sheet.picture
        corners = (picture.left_mm, picture.bottom_mm, picture.right_mm, picture.top_mm)
        rectangle = [corner + HOME_MM for corner in corners]
        with self.session.ask_machine() as machine:
            return np.array(
                machine.call("row_light", rectangle=rectangle, rows=ROWS, pieces=PIECES)
            )

    def _give_it_switches(self):
        """Say it again until it is heard: whoever opens the port restarts the controller."""
        with serial.Serial(str(self.machine / "port"), 115200, timeout=0.5) as port:

            def is_heard():
                port.write(b"$22=1\n")
                return port.read_until(b"ok\r\n").endswith(b"ok\r\n")

            self.until(is_heard)

    def _address(self):
        found = re.search(r"http://\S+:\d+/", (self.folder / "page.log").read_text())
        return found and found[0].rstrip("/")


@pytest.fixture
def box(tmp_path):
    with ProcessGroup(tmp_path) as household:
        yield Box(tmp_path, household)


@pytest.fixture
def phone(box, chromium):
    with chromium.new_context(**phone_options()) as context:
        context.set_default_timeout(PATIENCE_S * 1000)
        yield context.new_page()


def etch_until_row(box, row):
    box.home()
    box.ask("set_origin")
    with PlainClient(box.session.socket) as daemon:
        box.session.load(daemon)
    box.session.press_until(lambda: "arm" in box.ask("status")["may"])
    box.ask("arm", answers=dict(ANSWERS))
    box.session.press_until(lambda: "start" in box.ask("status")["may"])
    box.ask("start")
    box.until(lambda: ((box.ask("status")["run"] or {}).get("row") or 0) >= row)


def get_ready(box, phone):
    """Press the button at the machine until that is offered, for the safety relay may be down."""
    ready = phone.get_by_role("button", name="Get ready", disabled=False)
    box.session.press_until(ready.is_visible)
    for tick in phone.locator("form.before input[type=checkbox]").all():
        tick.check()
    for choice in phone.locator("form.before select").all():
        choice.select_option(index=1)
    for field in phone.locator("form.before input[inputmode=decimal]").all():
        field.fill("26")
    ready.tap()


def test_a_killed_daemon_costs_no_row_when_the_next_ones_page_is_followed(box, phone, expect):
    etch_until_row(box, 5)
    box.household.send("daemon", signal.SIGKILL)
    box.start_daemon()

    phone.goto(box.url + "/machine")
    phone.get_by_role("button", name="Home", exact=True).tap()
    expect(phone.locator("[data-live=moved]")).to_contain_text("homed")
    phone.get_by_role("button", name="Take the origin of etch 1 again").tap()
    expect(phone.locator("[data-live=sentence]")).to_have_text("The machine is ready.")
    before = box.light()
    usual = np.median(before[:4])
    by_eye = int(np.argmax((before < LEAST * usual).any(axis=1)))

    phone.goto(box.url)
    phone.get_by_role("link", name="Continue this etch").tap()
    expect(phone.get_by_text("last that was written down as done")).to_be_visible()
    phone.get_by_label("First row that is not dark").fill(f"{by_eye + 1}")
    expect(phone.locator("#left")).to_contain_text(f"{ROWS - by_eye} rows")
    phone.get_by_label("The machine is homed").check()
    phone.get_by_role("button", name="Load the rest").tap()
    expect(phone.locator("h1")).to_have_text("Loaded")
    expect(phone.get_by_text("What is left of etch 1")).to_be_visible()

    get_ready(box, phone)
    start = phone.get_by_role("button", name="Start the etch", disabled=False)
    box.session.press_until(start.is_visible)
    start.tap()
    expect(phone.locator("h1")).to_have_text("Etched")

    share = box.light() / usual
    others = np.arange(ROWS) != by_eye
    assert share.min() > LEAST, f"a row is missing: {share.min(axis=1)}"
    assert share[others].max() < MOST, f"burnt twice beside row {by_eye}: {share.max(axis=1)}"
    assert share[by_eye].max() < TWICE
    assert box.ask("runs")["runs"][0]["continues_run_id"] == 1
