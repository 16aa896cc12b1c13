"""Records that last, with real processes on a memory card that fills up, fails or is cut off.

A cut is imitated by copying the records while they are written, file by file and in either order,
as a disk may have had them; tests/etchdaemon/test_power_cut.py mixes sectors.
"""

import http.client
import os
import random
import re
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.parse
from contextlib import ExitStack, closing

import pytest

from etchpath.writer import Order, write_job
from etchpractice.scenario.people import ANSWERS
from etchwire.client import DaemonClient
from etchwire.errors import Refused, WireError
from etchwire.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from memory_card import memory_card
from rig.bench import patch

PATIENCE_S = 60.0
LARGE = b"\xff\xd8\xff" + b"x" * 900_000  # more than a request may take of the page's memory
PROGRAM = (sys.executable, "-m", "etchwarden")


class Box:
    """A practice machine beside the card; daemon and page on it."""

    def __init__(self, folder, card, parts):
        self.folder, self.card, self.parts = folder, card, parts
        self.machine, self.records = folder / "machine", card.folder / "records"
        self.page_folder, self.job = card.folder / "page", folder / "job"
        # No faster: on a busy computer it would be silent for longer than the daemon's patience.
        self.start("machine", "--folder", str(self.machine), "--speedup", "5")
        until((self.machine / "control.sock").is_socket)

    def start(self, *words):
        log = self.parts.enter_context((self.folder / f"{words[0]}.log").open("ab"))
        # A board has its folder for passing files on the same card.
        surroundings = os.environ | {"TMPDIR": str(self.card.folder)}
        child = subprocess.Popen([*PROGRAM, *words], stdout=log, stderr=log, env=surroundings)
        self.parts.callback(child.wait)
        self.parts.callback(child.kill)
        return child

    def start_daemon(self, records=None):
        address = self.folder / "daemon.sock"
        address.unlink(missing_ok=True)
        self.daemon = self.start(
            "daemon", "--port", str(self.machine / "port"), "--socket", str(address),
            "--state", str(records or self.records), "--practice", str(self.machine),
        )  # fmt: skip
        until(lambda: address.is_socket() or self.daemon.poll() is not None)
        self.until(lambda status: status["machine"]["link"] == "ready")

    def start_page(self):
        self.port = free_port()
        self.page = self.start(
            "page", "--daemon", str(self.folder / "daemon.sock"), "--folder",
            str(self.page_folder), "--port", str(self.port), "--open-to-loopback",
        )  # fmt: skip
        until(lambda: self.page.poll() is not None or self.is_page_there())

    def is_page_there(self):
        try:
            return self.browse("/")[0] == 200
        except OSError:
            return False

    def end(self, process):
        process.terminate()
        process.wait(PATIENCE_S)

    def ask(self, method, **params):
        with DaemonClient(self.folder / "daemon.sock") as daemon:
            return daemon.call(method, **params)

    def refusal(self, method, **params):
        with pytest.raises(Refused) as refused:
            self.ask(method, **params)
        return str(refused.value)

    def until(self, holds):
        deadline_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                if holds(status := self.ask("status")):
                    return status
            except WireError:
                assert self.daemon.poll() is None, self.log("daemon")
                status = None
            assert time.monotonic() < deadline_s, (status, self.log("daemon"))
            time.sleep(0.02)

    def make_job(self, rows):
        self.job.mkdir(exist_ok=True)
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.job / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(rows, 60), file, order)
        (self.job / SHEET_NAME).write_text(sheet.to_json())

    def load(self):
        with (
            DaemonClient(self.folder / "daemon.sock") as daemon,
            (self.job / GCODE_NAME).open("rb") as gcode,
            (self.job / SHEET_NAME).open("rb") as sheet,
        ):
            return daemon.load(gcode.fileno(), sheet.fileno())

    def arm(self):
        self.until(lambda status: "arm" in status["may"])
        self.ask("arm", answers=dict(ANSWERS))
        with DaemonClient(self.machine / "control.sock", peer="the practice machine") as machine:
            machine.call("press_button")
        self.until(lambda status: "start" in status["may"])

    def etch(self):
        self.load()
        self.arm()
        self.ask("start", acknowledge_long_run=True)
        return self.until(lambda status: (status["run"] or {}).get("etched_rows"))["run"]["id"]

    def browse(self, path, form=None, photo=None):
        """Get an address, or press a button with `form`; return status and words."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        with closing(link):
            if form is None and photo is None:
                link.request("GET", path)
            else:
                token = re.search(r'name="form_token" value="([^"]+)"', self.browse("/new")[1])[1]
                body, kind = _encoded({"form_token": token, **(form or {})}, photo)
                origin = f"http://127.0.0.1:{self.port}"
                told = {"Content-Type": kind, "Accept": "application/json", "Origin": origin}
                link.request("POST", path, body, told)
            answer = link.getresponse()
            return answer.status, answer.read().decode()

    def log(self, name):
        return (self.folder / f"{name}.log").read_text()


def _encoded(form, photo):
    if photo is None:
        return urllib.parse.urlencode(form), "application/x-www-form-urlencoded"
    parts = [
        f'--line\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in form.items()
    ]
    parts.append(
        b'--line\r\nContent-Disposition: form-data; name="photo"; filename="hands.jpg"\r\n'
        b"Content-Type: image/jpeg\r\n\r\n" + photo + b"\r\n--line--\r\n"
    )
    return b"".join(parts), "multipart/form-data; boundary=line"


def free_port():
    with socket.socket() as knock:
        knock.bind(("127.0.0.1", 0))
        return knock.getsockname()[1]


def until(holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s
        time.sleep(0.02)


@pytest.fixture
def card(tmp_path):
    with memory_card(tmp_path / "card") as card:
        yield card


@pytest.fixture
def box(tmp_path, card):
    with ExitStack() as parts:
        yield Box(tmp_path, card, parts)


def test_on_a_card_that_fills_up_the_etch_goes_on_and_everybody_is_told_in_a_sentence(box, card):
    box.make_job(30)
    box.start_daemon()
    box.start_page()
    assert box.browse("/new", {}, photo=LARGE)[0] == 415  # it has waited on the card: see TMPDIR
    before = box.etch()
    card.fill()
    files = card.files()

    box.until(lambda status: status["logbook_trouble"])
    for photo in (LARGE, LARGE[:9000]):
        status, said = box.browse("/new", {}, photo=photo)
        assert (status, "no room left" in said) == (507, True), said
    box.ask("backup")
    until(lambda: box.ask("backups")["share"] is None)
    assert "Make room" in box.ask("backups")["trouble"]
    ended = box.until(lambda status: status["state"] == "ended")
    assert ended["run"]["ended"] == "complete"
    assert "disk is full" in ended["logbook_trouble"]
    with pytest.raises(Refused, match="no room left"):
        box.load()
    assert "nothing is started" in ended["storage"]["low"]
    assert card.files() == files

    card.make_room()
    box.until(lambda status: status["logbook_trouble"] is None)
    run = box.ask("run", id=before)
    assert (run["ended"], run["etched_rows"]) == ("complete", 30)
    assert len(box.ask("run_rows", id=before)["rows"]) == 30
    box.load()
    for name in ("daemon", "page"):
        assert "Traceback" not in box.log(name)


def test_on_a_card_that_was_full_before_the_first_start_the_box_watches_until_there_is_room(
    box, card
):
    box.make_job(3)
    card.fill()

    box.start_daemon()

    assert "disk is full" in box.ask("status")["logbook_trouble"]
    with pytest.raises(Refused, match="no room left"):
        box.load()
    assert "disk is full" in box.refusal("runs")

    card.make_room()
    box.until(lambda status: status["logbook_trouble"] is None)
    box.load()
    assert "Traceback" not in box.log("daemon")


def test_an_etch_is_taken_up_on_a_card_that_was_full_once_there_is_room(box, card):
    box.make_job(400)
    box.start_daemon()
    run = box.etch()
    box.ask("stop")
    box.until(lambda status: status["state"] == "ended")
    taken_up = {"run": run, "confirm": "origin set again", "row": 5}
    card.fill()
    files = card.files()

    assert "no room left" in box.refusal("reenter", **taken_up)
    assert card.files() == files
    box.end(box.daemon)
    box.start_daemon()  # which finds the run all the same, or says why it cannot look
    trouble = box.ask("status")["logbook_trouble"]
    assert trouble is None or "disk is full" in trouble
    assert {name for name in files if "spool" in name} <= set(card.files())

    card.make_room()
    box.until(lambda status: status["logbook_trouble"] is None)
    box.ask("reenter", **taken_up)
    assert box.ask("status")["job"]["rows"] == 400
    assert "Traceback" not in box.log("daemon")


def test_on_a_card_that_can_only_be_read_the_box_watches_and_says_so(box, card):
    box.make_job(3)
    box.start_daemon()
    box.start_page()
    box.load()
    box.end(box.page)
    box.end(box.daemon)
    card.make_read_only()

    box.start_daemon()
    box.start_page()

    told = box.ask("status")["logbook_trouble"]
    assert re.fullmatch(r"The logbook .*\.", told)
    with pytest.raises(Refused, match="only be read"):
        box.load()
    assert "cannot be opened" in box.refusal("runs")
    assert box.browse("/")[0] == 200
    status, said = box.browse("/new", {}, photo=b"\xff\xd8\xff")
    assert (status, "only be read" in said) == (507, True), said
    for name in ("daemon", "page"):
        assert "Traceback" not in box.log(name)

    card.mend()
    box.until(lambda status: status["logbook_trouble"] is None)
    box.load()


def test_a_logbook_that_another_program_holds_is_taken_when_it_is_let_go(box):
    box.start_daemon()
    box.end(box.daemon)
    with closing(sqlite3.connect(box.records / "logbook.sqlite3", isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE").fetchall()
        other.execute("BEGIN EXCLUSIVE")
        box.start_daemon()
        told = box.ask("status")["logbook_trouble"]
        refused = box.refusal("runs")
        other.execute("COMMIT")

    assert "another program has it open" in told
    assert "another program has it open" in refused
    box.until(lambda status: status["logbook_trouble"] is None)
    assert box.ask("runs")["runs"] == []


def test_after_a_power_cut_the_next_start_says_what_happened_and_offers_the_rest(box):
    chance = random.Random(8)
    box.make_job(400)
    box.start_daemon()
    run = box.etch()
    cuts = []
    for number in range(2):
        time.sleep(chance.uniform(0.05, 0.8))  # the moment of the cut
        answered = len(box.ask("run_rows", id=run)["rows"])
        cuts.append((box.folder / f"cut-{number}", answered))
        _copy(box.records, cuts[-1][0], is_wal_first=number % 2 == 0)
    box.daemon.kill()
    box.daemon.wait()

    for folder, answered in cuts:
        box.start_daemon(folder)
        status = box.ask("status")
        found = box.ask("run", id=run)
        assert status["logbook_trouble"] is None
        assert len(box.ask("run_rows", id=run)["rows"]) >= answered
        assert found["ended"] == "failed"
        assert "near row" in found["because"] or "before its first" in found["because"]
        assert status["unfinished"]["run"] == run
        left = box.ask("unfinished", run=run)
        assert (left["may"], left["why_not"]) == (True, None)
        box.ask("reenter", run=run, confirm="origin set again", row=found["etched_rows"])
        assert box.ask("runs")["notes"] == []
        box.daemon.kill()
        box.daemon.wait()


def _copy(records, target, *, is_wal_first):
    """Copy the records as a disk may have had them: the book, or its WAL, a moment earlier."""
    target.mkdir()
    names = ["logbook.sqlite3", "logbook.sqlite3-wal"]
    for name in reversed(names) if is_wal_first else names:
        shutil.copyfile(records / name, target / name)
    shutil.copytree(records / "spool", target / "spool")
    (target / "spool" / ".arriving-cut").mkdir()
    (target / "spool" / ".arriving-cut" / GCODE_NAME).write_bytes(b"")
