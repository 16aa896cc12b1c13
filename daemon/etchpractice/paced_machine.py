"""The practice machine beside a host in the wall's time: when simulated time passes, and waits."""

from etchpractice.controller.states import MOVING
from etchpractice.machine import PracticeMachine
from etchpractice.pacing import HONEST, STEP_S, Pacing


class PacedMachine:
    """Lets a machine's time pass as its pace and its host allow; the wall's time is a value."""

    def __init__(self, machine: PracticeMachine, speedup: float) -> None:
        self._machine = machine
        self._speedup = speedup
        self._pacing = Pacing(speedup)

    @property
    def has_work(self) -> bool:
        """Whether the machine moves or has lines to work on."""
        return self._is_moving or self._machine.needs_no_host

    @property
    def _is_moving(self) -> bool:
        return self._machine.controller.engine.state in MOVING

    def patience_left_s(self, wall_s: float) -> float:
        """Return how long to wait for the host yet: not while there is anything left to read."""
        if self._machine.needs_no_host:
            return 0.0
        return self._pacing.patience_left_s(wall_s, is_working=self._is_moving)

    def note_received(self, data: bytes) -> None:
        """Note what the host has written; nothing, where it has set an output."""
        self._pacing.note_received(brings_lines=b"\n" in data)

    def note_sent(self, wall_s: float, data: bytes) -> None:
        """Note what the host was sent; nothing, where it was told of an input."""
        self._pacing.note_sent(wall_s, data)

    def advance(self, wall_s: float) -> None:
        """Let the time that is due pass, and stop where the host has to be asked.

        A step of it passes whatever is waited for: nobody may be there to read.
        """
        if self.patience_left_s(wall_s) > 0:
            self._pacing.stand_still(wall_s)
            return
        due_s = self._pacing.due_s(wall_s, has_work=self.has_work)
        if due_s <= 0:
            return
        first_s = min(due_s, STEP_S)
        self._machine.advance(first_s)
        stops_for_host = self._speedup > HONEST
        if due_s > first_s and not (stops_for_host and self._machine.waits_for_host):
            self._machine.advance(due_s - first_s, stops_for_host=stops_for_host)
