"""The daemon as a process: on a real pseudo-terminal, told to end, without its machine.

How it is killed, halted and cut off is tried in `test_link_faults.py`.
"""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.link_bench import quick_box, until
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 60.0
SPEEDUP = "10"


def _write_job(folder, bits):
    folder.mkdir()
    order = Order(
        title="patch",
        head=PRACTICE_HEADS["practice-20w"],
        recipe=PRACTICE_RECIPES["practice-20w"],
        halftone="none",
    )
    with (folder / GCODE_NAME).open("wb") as file:
        sheet = write_job(bits, file, order)
    (folder / SHEET_NAME).write_text(sheet.to_json())


class Bench:
    """A practice machine and a daemon, a job of a minute, and somebody who asks."""

    def __init__(self, folder):
        self.household = ProcessGroup(folder)
        self.session = Session(self.household, folder)
        _write_job(self.session.job, patch(40, 400))
        self.session.start_machine("--speedup", SPEEDUP, box=quick_box(folder))

    def ask(self, method, **params):
        with PlainClient(self.session.socket) as daemon:
            return daemon.call(method, **params)

    def do(self, verb, **params):
        with self.session.ask_machine() as machine:
            return machine.call(verb, **params)

    def wait_until(self, holds):
        deadline_s = time.monotonic() + PATIENCE_S
        while not holds(status := self.ask("status")):
            assert time.monotonic() < deadline_s, status["sentence"]
            time.sleep(0.02)
        return status

    def start(self):
        self.session.begin_etch()
        self.wait_until(lambda status: (status["run"] or {}).get("row") is not None)

    def wait_for_the_end(self):
        return self.wait_until(lambda status: status["state"] == "ended")["run"]

    def daemon(self):
        return self.household._processes["daemon"]

    def resident_kb(self):
        """Return how much memory the daemon has at this moment."""
        status = Path(f"/proc/{self.daemon().pid}/status").read_text()
        return int(status.split("VmRSS:")[1].split()[0])


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path)
    yield made
    made.household.end()


def test_a_job_is_etched_over_a_pseudo_terminal_without_losing_a_byte_by_a_small_daemon(bench):
    bench.start()
    resident_kb = bench.resident_kb()

    run = bench.wait_for_the_end()

    assert run["ended"] == "complete"
    assert run["etched_rows"] == 40
    assert bench.do("state")["lost_bytes"] == 0
    assert resident_kb < 40_000


def test_a_daemon_told_to_end_stops_the_etch_and_leaves_with_exit_code_0(bench):
    bench.start()

    bench.daemon().terminate()

    assert bench.daemon().wait(PATIENCE_S) == 0
    until(lambda: not bench.do("state")["outputs"]["beam_enable"])  # it may hear of it later
    until(lambda: bench.do("state")["controller_state"] in ("Idle", "Hold"))


def test_a_daemon_without_its_practice_machine_says_so_and_leaves_nothing(tmp_path):
    ended = subprocess.run(
        [
            sys.executable, "-m", "etchwarden", "daemon", "--port", "/dev/null",
            "--socket", str(tmp_path / "socket"), "--state", str(tmp_path / "state"),
            "--practice", "absent",
        ],
        capture_output=True,
        check=False,
        text=True,
        cwd=tmp_path,
        timeout=PATIENCE_S,
    )  # fmt: skip

    assert ended.returncode == 1
    assert "board" in ended.stderr
    assert not (tmp_path / "socket").exists()
