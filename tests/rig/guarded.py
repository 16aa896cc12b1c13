"""The rig with a guarded box: interlocks on the practice machine's own board."""

from etchdaemon.errors import BoardLost
from etchdaemon.guard.guard import Guard
from etchdaemon.hardware.opened import EDGES_LOST
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.conditions.extraction import ExtractionTimes
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Input, Level, Output
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchpractice.box.board import BEAM_PIN_IS_DEAD, EDGES_FAIL, READING_HANGS
from rig.bench import STEP_S, Rig
from support.harnesses.interlock_bench import ANSWERS

LOOKS_EVERY_S = 2 * STEP_S  # about a hundred a second
INPUTS = {one.value: one for one in Input}


class BoardInMemory:
    """A Board on the practice machine's, read without a socket."""

    def __init__(self, board, clock):
        self._board = board
        self._clock = clock
        self.is_gone = False
        self._stale_since_s = {}

    @property
    def hangs(self):
        return READING_HANGS in self._board.library_faults

    @property
    def trouble(self):
        return None if self._board.tells_edges else EDGES_LOST

    def read(self):
        self._require_board()
        board, now_s = self._board, self._clock.now_s()
        stale = [name for name, how in board.doubts.items() if how == "stale"]
        self._stale_since_s = {name: self._stale_since_s.get(name, now_s) for name in stale}
        return {
            INPUTS[name]: Level(is_closed, self._stale_since_s.get(name, now_s))
            for name, is_closed in board.inputs().items()
            if board.doubts.get(name) != "missing"
        }

    def take_opened(self):
        if EDGES_FAIL in self._board.library_faults:
            raise RuntimeError("told to")
        board = self._board
        changes, board.changes = board.changes, []
        if self.is_gone or not board.tells_edges:
            return {}
        opened = [name for name, is_closed in changes if not is_closed and name not in board.doubts]
        at_s = board.changed_at_s
        return {Input(name): Edge(at_s[name], at_s[name]) for name in opened}

    def set(self, output, *, is_on):
        self._require_board()
        is_dead = BEAM_PIN_IS_DEAD in self._board.library_faults
        if is_dead and output is Output.BEAM_ENABLE and not is_on:
            raise BoardLost("The pin is dead.")
        self._board.set_output(output.value, is_on)

    def _require_board(self):
        if self.is_gone:
            raise BoardLost("The board is gone.")

    def close(self):
        self._board.disconnect()


class GuardedRig(Rig):
    """Guard and loop take turns; the guard looks when it is time, as its thread would."""

    def make_setup(self):
        """Return how the box is wired and set."""
        return Setup(wired=EVERYTHING, extraction=ExtractionTimes(purge_s=1.0))

    def make_guard(self):
        self.setup = self.make_setup()
        self.wires = BoardInMemory(self.machine.board, self.clock)
        self.looks_at_s = 0.0
        return Guard(InterlockEngine(self.setup), self.wires, self.clock)

    def step(self, times=1):
        for _ in range(times):
            self._look_when_due()
            self.service.step()
            self.machine.advance(self.step_s)

    def _look_when_due(self):
        now_s = self.machine.now_s
        if now_s >= self.looks_at_s - STEP_S / 2 and not self.wires.hangs:
            self.looks_at_s = now_s + LOOKS_EVERY_S
            self.guard.monitor.look()

    def doze(self):
        """Step, and let time pass until the loop would look again though nobody rings.

        That is 20 ms where nothing is under way; the guard looks as often then.
        """
        self.step()
        left_s = self.service.patience_s - self.step_s
        if left_s > 0:
            self.machine.advance(left_s)

    def rest(self, seconds):
        """Let simulated time pass in which nothing is expected to be under way."""
        until_s = self.machine.now_s + seconds
        while self.machine.now_s < until_s:
            self.doze()

    @property
    def board(self):
        return self.machine.board

    @property
    def box(self):
        return self.commands.snapshot().interlocks

    @property
    def may(self):
        return self.commands.snapshot().may

    @property
    def tripped(self):
        return [trip.name for trip in self.box.trips]

    def arm(self):
        """Arm with one press: before it where the safety relay is down, else after it."""
        self.wait_until(lambda: "arm" in self.may or self.box.request is not None)
        is_pressed_first = self.box.request is not None
        if is_pressed_first:
            self.press_button()
        self.wait_until(lambda: "arm" in self.may)
        self.ask("arm", answers=ANSWERS, test_heartbeat=False)
        if not is_pressed_first:
            self.press_button()
        self.wait_until(lambda: "start" in self.may)

    def show_somebody(self):
        """Here a test arms the box itself."""

    def press_button(self):
        self.board.press_button()
        self.wait(0.5)

    def start(self, folder=None):
        self.set_origin()
        sheet = self.load(folder)
        self.arm()
        self.ask("start")
        return sheet

    def reset(self):
        self.ask("reset", names=self.tripped)

    @property
    def is_beam_enabled(self):
        return self.board.outputs[Output.BEAM_ENABLE.value]
