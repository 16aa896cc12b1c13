"""How fast simulated time may go: at the wall's pace times N, but not ahead of a busy host.

A host that answers within 4 ms answers within 80 ms of a machine that runs twenty times too
fast, and the machine would starve. So when nothing is left to be read (the ring is empty, the
line quiet) and the host has been told something it may want to answer, time stands still until
it writes, or has been quiet for some milliseconds of the wall's. At N = 1 time is the wall's.
"""

from typing import Final

HONEST: Final = 1.0
MOST_PACED: Final = 20.0  # beyond this, time goes as fast as the program can
STEP_S: Final = 0.002
_MOST_AT_ONCE_S: Final = 0.020
_WORKING_PATIENCE_S: Final = 0.250  # of the wall's, for a host that keeps a running machine fed
_CASUAL_PATIENCE_S: Final = 0.003
_REPLIES: Final = (b"ok", b"error")


class Pacing:
    """Decides how much simulated time may pass; it is told what happens and when."""

    def __init__(self, speedup: float) -> None:
        self.speedup = speedup
        self._last_wall_s: float | None = None
        self._sent_at_s: float | None = None  # wall time of what the host has not answered
        self._has_made_room = False  # whether that makes room for more lines
        self._is_host_done = False
        self._unfinished = b""

    def note_sent(self, wall_s: float, said: bytes = b"") -> None:
        """Note that the host was told something: an input that changed, or what was `said`.

        A reply makes room for more lines once it is whole; a host cannot answer half of one.
        """
        self._sent_at_s = wall_s
        *whole, self._unfinished = (self._unfinished + said).split(b"\n")
        makes_room = any(line.startswith(_REPLIES) for line in whole)
        self._has_made_room = self._has_made_room or makes_room

    def note_received(self, *, brings_lines: bool) -> None:
        """Note that the host has written or set an output.

        Who asks for a report or sets a lamp has not yet used the room that was made.
        """
        if brings_lines:
            self._has_made_room = self._is_host_done = False
        if not self._has_made_room or self._is_host_done:
            self._sent_at_s = None

    def patience_left_s(self, wall_s: float, *, is_working: bool) -> float:
        """Return how many wall seconds to wait for the host yet; 0 when it need not be waited for.

        `is_working` says that the machine is moving on what the host gave it.
        """
        if self.speedup <= HONEST or self._sent_at_s is None:
            return 0.0
        is_expected = is_working and self._has_made_room and not self._is_host_done
        patience_s = _WORKING_PATIENCE_S if is_expected else _CASUAL_PATIENCE_S
        left_s = self._sent_at_s + patience_s - wall_s
        if left_s > 0:
            return left_s
        self._sent_at_s = None
        self._is_host_done = self._is_host_done or is_expected
        return 0.0

    def stand_still(self, wall_s: float) -> None:
        """Let the wall's time until now count for nothing."""
        self._last_wall_s = wall_s

    def due_s(self, wall_s: float, *, has_work: bool) -> float:
        """Return how much simulated time may pass now.

        What was missed while the process did not run is not made up: the host could not have
        answered meanwhile.
        """
        last_s = self._last_wall_s
        self._last_wall_s = wall_s
        if self.speedup > MOST_PACED and has_work:
            return _MOST_AT_ONCE_S * 5
        passed_s = 0.0 if last_s is None else wall_s - last_s
        pace = min(self.speedup, MOST_PACED)
        return min(passed_s, _MOST_AT_ONCE_S) * pace
