"""A household whose daemon and page are killed at random moments, over and over."""

import random
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

from etchpath.writer import Order, write_job
from etchpractice.scenario.people import ANSWERS
from etchwarden.household import Household
from etchwarden.session import Session
from etchwire.client import DaemonClient
from etchwire.errors import Refused, WireError
from etchwire.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch

PATIENCE_S = 60.0
LATEST_S = 1.0  # of the wall's, after the daemon answers


class KilledHousehold:
    """One practice machine, and daemons that follow each other on the same records."""

    def __init__(self, folder, seed):
        self.folder, self.chance = folder, random.Random(seed)
        self.household = Household(folder)
        self.session = Session(self.household, folder)
        self.session.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.session.job / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(400, 100), file, order)
        (self.session.job / SHEET_NAME).write_text(sheet.to_json())
        self.machine = folder / "machine"
        self.household.start("practice machine", "machine", "--folder", str(self.machine),
                             "--speedup", "20")  # fmt: skip
        self.household.wait_until((self.machine / "control.sock").is_socket)
        self.socket, self.state = folder / "daemon.sock", folder / "records"
        self.seen: dict[int, tuple[int, int, str | None]] = {}  # rows, events and end, by run
        self.etching_at_the_kill = self.rounds = 0

    def start(self, name, *arguments):
        with (self.folder / f"{name}.log").open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "etchwarden", name, *arguments], stdout=log, stderr=log
            )

    def round(self):
        """Start a daemon, begin an etch, kill it at a random moment; the next one is asked."""
        daemon = self.start("daemon", "--port", str(self.machine / "port"), "--socket",
                            str(self.socket), "--state", str(self.state), "--practice",
                            str(self.machine))  # fmt: skip
        killed = [daemon]
        if self.rounds % 4 == 0:  # it takes the longest to start, and keeps the least
            page = ("--daemon", str(self.socket), "--folder", str(self.folder / "page"))
            killed.append(self.start("page", *page, "--port", str(free_port())))
        self.rounds += 1
        try:
            self._until_it_answers(daemon)
            self._account()
            self._use_until_killed(daemon)
        finally:
            for process in killed:
                process.send_signal(signal.SIGKILL)
                process.wait()
        self._outputs_are_safe()
        self._book_is_sound()

    def end(self):
        self.household.end()

    def _until_it_answers(self, daemon):
        deadline_s = time.monotonic() + PATIENCE_S
        while True:
            assert daemon.poll() is None, (self.folder / "daemon.log").read_text()[-2000:]
            assert time.monotonic() < deadline_s
            try:
                with DaemonClient(self.socket) as client:
                    return client.call("status")
            except WireError:
                time.sleep(0.02)

    def _use_until_killed(self, daemon):
        """Load, arm and start as fast as the daemon lets us, until the moment has come."""
        moment_s = time.monotonic() + self.chance.uniform(0.0, LATEST_S)
        loaded = False
        with DaemonClient(self.socket) as client:
            while time.monotonic() < moment_s:
                status = client.call("status")
                if not loaded:
                    self._load(client)
                    loaded = True
                elif "start" in status["may"]:
                    _try(client, "start", acknowledge_long_run=True)
                    moment_s = time.monotonic() + self.chance.uniform(0.0, LATEST_S)
                elif "arm" in status["may"] and status["run"] is None:
                    _try(client, "arm", answers=dict(ANSWERS))
                    with self.session.ask_machine() as machine:
                        machine.call("press_button")
                elif status["state"] != "etching":
                    moment_s = min(time.monotonic() + 0.5, moment_s + 0.05)
                self._note(client)
            self.etching_at_the_kill += client.call("status")["state"] == "etching"
        daemon.send_signal(signal.SIGKILL)

    def _load(self, client):
        gcode, sheet = self.session.job / GCODE_NAME, self.session.job / SHEET_NAME
        with gcode.open("rb") as one, sheet.open("rb") as other:
            client.load(one.fileno(), other.fileno())

    def _note(self, client):
        """Remember what the daemon has said is on disk: it answers from committed rows only."""
        for run in client.call("runs", limit=1)["runs"]:
            rows = client.call("run_rows", id=run["id"], from_row=0)["rows"]
            events = client.call("run_events", id=run["id"])["events"]
            self.seen[run["id"]] = (len(rows), len(events), run["ended"])

    def _account(self):
        with DaemonClient(self.socket) as client:
            found = {run["id"]: run for run in client.call("runs")["runs"]}
            assert client.call("status")["logbook_trouble"] is None
            for number, (rows, events, ended) in self.seen.items():
                run = found[number]
                assert len(client.call("run_rows", id=number)["rows"]) >= rows
                assert len(client.call("run_events", id=number)["events"]) >= events
                if ended is None:
                    assert run["ended"] == "failed"
                    assert "near row" in run["because"] or "before its first" in run["because"]
                    _offers_reentry(client, run)
                else:
                    assert run["ended"] == ended
            self.seen = {number: self.seen[number] for number in sorted(self.seen)[-1:]}
            for number in self.seen:
                rows, events, _ = self.seen[number]
                self.seen[number] = (rows, events, found[number]["ended"])

    def _outputs_are_safe(self):
        with self.session.ask_machine() as machine:
            deadline_s = time.monotonic() + PATIENCE_S
            while (state := machine.call("state"))["outputs"]["beam_enable"]:
                assert time.monotonic() < deadline_s
            assert not state["is_burning"]

    def _book_is_sound(self):
        path = self.state / "logbook.sqlite3"
        if path.exists():
            with closing(sqlite3.connect(path)) as book:
                assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert list(self.state.glob("*damaged*")) == []


def _offers_reentry(client, run):
    """Its job is still kept, so its rest can be had, unless nothing of it was left to etch."""
    said = _try(client, "reenter", run=run["id"], confirm="origin set again",
                row=run["etched_rows"])  # fmt: skip
    assert "no longer kept" not in said, said


def _try(client, method, **params):
    """Ask; return why it was refused: at this moment it may no longer be possible."""
    try:
        client.call(method, **params)
    except Refused as refusal:
        return str(refusal)
    return ""


def free_port():
    with socket.socket() as knock:
        knock.bind(("127.0.0.1", 0))
        return knock.getsockname()[1]
