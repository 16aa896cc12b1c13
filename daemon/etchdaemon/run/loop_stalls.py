"""Stalls of the loop: while it was stopped or starved, the machine moved on."""

from dataclasses import dataclass
from typing import Final

LONGEST_PAUSE_S: Final = 1.0  # a longer one is reported
LATE_S: Final = 0.03  # the lines that were sent last longer than that
LATE_FOR_S: Final = 0.5  # after a stall, a short queue may come of it
BLINK_S: Final = 0.05  # in a longer one the heartbeat's contact may open


@dataclass(slots=True)
class LoopStalls:
    """Measures the time between two looks of the loop, and how late the last one was."""

    looked_at_s: float
    lasted_s: float = 0.0
    late_s: float = 0.0  # since a contact opened that may put the beam out by itself
    was_unwatched: bool = False  # by the guard, see `Verdict`
    _late_at_s: float | None = None  # when a pause ended that may have starved the controller

    def look(
        self, now_s: float, *, opened_at_s: float | None = None, was_unwatched: bool = False
    ) -> None:
        """Take note of a look, and of when a contact had opened that it came upon."""
        self.was_unwatched = was_unwatched
        self.late_s = 0.0 if opened_at_s is None else max(0.0, now_s - opened_at_s)
        self.lasted_s = now_s - self.looked_at_s
        self.looked_at_s = now_s
        if self.lasted_s > LATE_S:
            self._late_at_s = now_s

    @property
    def was_long(self) -> bool:
        """Whether the last pause was long enough to report."""
        return self.lasted_s > LONGEST_PAUSE_S

    def was_late(self, now_s: float) -> bool:
        """Whether a pause that may have starved the controller ended just now."""
        return self._late_at_s is not None and now_s - self._late_at_s < LATE_FOR_S

    @property
    def cut_late_s(self) -> float:
        """How long before the last look the beam may have gone out that it finds out.

        The box cuts by itself when a contact opens, or when its heartbeat fails in a long pause;
        the guard does at any time since the look before.
        """
        if self.lasted_s > BLINK_S or not self.late_s:
            return max(self.lasted_s, self.late_s)
        return self.late_s
