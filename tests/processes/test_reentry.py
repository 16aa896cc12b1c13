"""An etch cut short is taken up again: real daemon, real children, real logbook."""

import signal
import time

import pytest

from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.errors import Refused
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.link_bench import quick_box
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 60.0
ROWS = 24


class Bench:
    def __init__(self, folder):
        self.folder = folder
        self.household = ProcessGroup(folder)
        self.session = Session(self.household, folder)
        self.session.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.session.job / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(ROWS, 300), file, order)
        (self.session.job / SHEET_NAME).write_text(sheet.to_json())
        self.session.start_machine("--speedup", "5", box=quick_box(folder))
        self.session.begin_etch()
        self.until(lambda status: ((status["run"] or {}).get("row") or 0) >= 4)

    def ask(self, method, **params):
        with PlainClient(self.session.socket) as daemon:
            return daemon.call(method, **params)

    def until(self, holds):
        deadline_s = time.monotonic() + PATIENCE_S
        while not holds(status := self.ask("status")):
            assert time.monotonic() < deadline_s, status["sentence"]
            time.sleep(0.02)
        return status

    def etch_the_rest(self):
        """Arm and start, as a person at the machine would; return the run."""
        with PlainClient(self.session.socket) as daemon:
            self.session.arm(daemon)
            daemon.call("start")
        return self.until(lambda status: status["state"] == "ended")["run"]

    def kill_daemon_and_start_another(self):
        self.household.send("daemon", signal.SIGKILL)
        (self.folder / "daemon.sock").unlink()
        self.session.start_daemon(quick_box(self.folder))


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path)
    yield made
    made.household.end()


def test_an_etch_stopped_in_mid_row_is_taken_up_where_it_was_cut(bench):
    bench.ask("stop")
    first = bench.until(lambda status: status["state"] == "ended")["run"]
    events = bench.ask("run_events", id=first["id"])["events"]
    (cut,) = [event["details"] for event in events if event["kind"] == "cut"]

    bench.until(lambda status: "reenter" in status["may"])
    told = bench.ask("reenter", run=first["id"], confirm="tile and head have not moved")
    run = bench.etch_the_rest()

    assert run["ended"] == "complete"
    person_says = cut["row"] + 1  # people count rows from one
    was_cut_behind_the_last_dot = f"Row {person_says} was done" in told["sentence"]
    assert was_cut_behind_the_last_dot or f"Row {person_says} goes on" in told["sentence"]
    assert bench.ask("run", id=run["id"])["continues_run_id"] == first["id"]
    rows = [row[0] for row in bench.ask("run_rows", id=run["id"])["rows"]]
    assert rows == list(range(cut["row"] + was_cut_behind_the_last_dot, ROWS))


def test_after_a_killed_daemon_the_run_is_closed_and_goes_on_from_a_row_told_by_eye(bench):
    bench.kill_daemon_and_start_another()
    bench.until(lambda status: status["machine"]["link"] == "ready")
    (first,) = bench.ask("runs")["runs"]
    shown = bench.ask("status")["unfinished"]
    assert (shown["run"], shown["is_place_kept"]) == (first["id"], False)
    row = bench.ask("unfinished", run=first["id"])["first_row"]
    with pytest.raises(Refused, match="first that is not dark"):
        bench.ask("reenter", run=first["id"], confirm="origin set again")
    with pytest.raises(Refused, match="position unknown since that run"):
        bench.ask("reenter", run=first["id"], confirm="tile and head have not moved", row=row)
    bench.ask("reenter", run=first["id"], confirm="origin set again", row=row)
    run = bench.etch_the_rest()

    assert first["ended"] == "failed"
    assert "near row" in first["because"]
    assert run["ended"] == "complete"
    assert run["continues_run_id"] == first["id"]
