"""A fault of the daemon's own: the beam is out before anything is logged or closed."""

import logging
import sys

import pytest

from etchdaemon.assembly import Box, Daemon, DaemonPaths
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.starting import StartRequest
from support.fakes.memory_board import HandClock, MemoryBoard
from support.harnesses.interlock_bench import ANSWERS, DAY, NOON


class FailingClock(HandClock):
    """A clock whose machine's time is a fault of the program's own, once it is told so."""

    fails = False

    def now_s(self):
        if self.fails:
            raise RuntimeError("told to")
        return super().now_s()


class AtTheLog(logging.Handler):
    """Keeps what the beam's contact was at each record."""

    def __init__(self, board):
        super().__init__()
        self.was_on = []
        self._board = board

    def emit(self, record):
        if "fault of its own" in record.getMessage():
            self.was_on.append(self._board.outputs[Output.BEAM_ENABLE])


@pytest.fixture
def switch_interval():
    before_s = sys.getswitchinterval()
    yield
    sys.setswitchinterval(before_s)


def let_the_beam_be(guard, board, clock):
    """Arm, start and allow, by the guard's own looks."""

    def look(times):
        for _ in range(times):
            guard.note_loop_alive()
            guard.monitor.look()
            clock.seconds += 0.01

    look(100)
    guard.operator.arm(ANSWERS, day=DAY)
    look(50)
    board.closed[Input.ARM_BUTTON] = True
    look(20)
    board.closed[Input.ARM_BUTTON] = False
    look(1100)
    guard.begin_run(StartRequest(lasts_s=60, starts_at=NOON))
    guard.allow()
    look(30)


@pytest.mark.usefixtures("switch_interval")
def test_a_daemon_that_meets_its_own_fault_puts_the_beam_out_before_it_says_so(tmp_path):
    clock, setup = FailingClock(), Setup(wired=EVERYTHING)
    board = MemoryBoard(clock, setup.inputs)
    places = DaemonPaths(port="", socket=tmp_path / "api.sock", state=tmp_path)
    daemon = Daemon(places, clock=clock, box=Box(board=board, bell=EventDoorbell(), setup=setup))
    let_the_beam_be(daemon._guard, board, clock)
    assert board.outputs[Output.BEAM_ENABLE]
    at_the_log = AtTheLog(board)
    logging.getLogger("etchdaemon").addHandler(at_the_log)

    clock.fails = True
    with pytest.raises(RuntimeError, match="told to"):
        daemon.run()

    logging.getLogger("etchdaemon").removeHandler(at_the_log)
    assert at_the_log.was_on == [False]
