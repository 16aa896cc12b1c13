"""`etchwarden load` with a real daemon and the real preflight in its child."""

import signal
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner

from etchwarden.__main__ import main
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 60.0
DRAWING = (
    b"(our own drawing)\r\nG20 G90 G94\r\nM4 S0\r\nG0 X0.2 Y0.2\r\nG1 X0.8 S700 F60\r\n"
    b"G3 X0.8 Y0.6 I0 J0.2 F40 ; half a circle\r\nG1 X0.2\r\nM5\r\nG0 X0 Y0\r\nM2\r\n"
)


class Bench:
    def __init__(self, folder, speedup):
        self.folder = folder
        self.household = ProcessGroup(folder)
        self.session = Session(self.household, folder)
        self.session.start_machine("--speedup", speedup)

    def load(self, text, *more):
        return subprocess.run(
            [sys.executable, "-m", "etchwarden", *self._words(text, more)],
            capture_output=True, text=True, check=False, timeout=PATIENCE_S,
        )  # fmt: skip

    def load_from_here(self, text, *more):
        """Run the command in this process: the daemon and its child are others all the same."""
        return CliRunner().invoke(main, self._words(text, more))

    def _words(self, text, more):
        source = self.folder / "drawing.nc"
        source.write_bytes(text)
        return ["load", str(source), "--daemon", str(self.folder / "daemon.sock"), *more]

    def until(self, holds):
        deadline_s = time.monotonic() + PATIENCE_S
        with PlainClient(self.session.socket) as daemon:
            while not holds(status := daemon.call("status")):
                assert time.monotonic() < deadline_s, status["sentence"]
                time.sleep(0.02)
        return status


@pytest.fixture
def bench(tmp_path, request):
    made = Bench(tmp_path, getattr(request, "param", "10"))
    made.until(lambda status: status["machine"]["link"] == "ready")
    with PlainClient(made.session.socket) as daemon:
        made.session.set_origin(daemon)
    yield made
    made.household.end()


def test_another_programs_file_is_loaded_checked_armed_and_etched(bench):
    told = bench.load(DRAWING, "--head", "practice-20w")
    assert told.returncode == 3, told.stderr
    assert "millimetres" in told.stdout

    found = bench.until(lambda status: "arm" in status["may"])["job"]["preflight"]
    with PlainClient(bench.session.socket) as daemon, bench.session.ask_machine() as machine:
        bench.session.arm(daemon, acknowledge=found["to_acknowledge"])
        daemon.call("start")
        run = bench.until(lambda status: status["state"] == "ended")["run"]
        assert run["ended"] == "complete"
        assert machine.call("state")["lost_bytes"] == 0
        record = daemon.call("run", id=run["id"])
    assert record["notes"]["preflight"]["acknowledged"] == ["inches"]


@pytest.mark.parametrize("bench", ["1"], indirect=True)  # where there is a heartbeat
def test_a_box_whose_safety_relay_has_fallen_is_armed_all_the_same(bench):
    """As it falls by itself where a busy computer lets the daemon stand for half a second."""
    told = bench.load_from_here(DRAWING, "--head", "practice-20w")
    assert told.exit_code == 3, told.stderr
    found = bench.until(lambda status: "arm" in status["may"])["job"]["preflight"]

    with PlainClient(bench.session.socket) as daemon, bench.session.ask_machine() as machine:
        bench.household.send("daemon", signal.SIGSTOP)
        bench.household.wait_until(lambda: not machine.call("state")["is_safety_relay_set"])
        bench.household.send("daemon", signal.SIGCONT)
        bench.until(lambda status: status["interlocks"]["request"])
        bench.session.arm(daemon, acknowledge=found["to_acknowledge"])

        assert "start" in daemon.call("status")["may"]


CANNOT_BE_LOADED = {
    "no head": (DRAWING, (), "--head"),
    "constant power": (DRAWING.replace(b"M4", b"M3"), ("--head", "practice-20w"), "Use M4"),
    "binary": (b"\x00\x01\x02", ("--head", "practice-20w"), ""),
    "unknown head": (DRAWING, ("--head", "no-such"), "there is no laser"),
}


def test_what_cannot_be_loaded_is_told_in_a_sentence(bench):
    for name, (text, more, says) in CANNOT_BE_LOADED.items():
        told = bench.load_from_here(text, *more)

        assert told.exit_code == 1, name
        assert says in told.stderr, name
        assert isinstance(told.exception, SystemExit), name  # and no error that nobody foresaw
