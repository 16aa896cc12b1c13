"""How long nobody looked: a program that was stopped or starved finds the world moved on."""

from dataclasses import dataclass
from typing import Final

LONGEST_PAUSE_S: Final = 1.0  # a longer one is told of
BLINK_S: Final = 0.05  # a longer one leaves open what happened meanwhile


@dataclass(slots=True)
class Pauses:
    """Measures the time between one look and the next, and how late what was seen was seen."""

    looked_at_s: float
    lasted_s: float = 0.0
    late_s: float = 0.0  # since a contact opened that may put the beam out by itself
    was_unwatched: bool = False  # by the guard, see `Verdict`

    def look(
        self, now_s: float, *, opened_at_s: float | None = None, was_unwatched: bool = False
    ) -> None:
        """Take note of a look, and of when a contact had opened that it came upon."""
        self.was_unwatched = was_unwatched
        self.late_s = 0.0 if opened_at_s is None else max(0.0, now_s - opened_at_s)
        self.lasted_s = now_s - self.looked_at_s
        self.looked_at_s = now_s

    @property
    def was_long(self) -> bool:
        """Whether the last pause was so long that a person is told."""
        return self.lasted_s > LONGEST_PAUSE_S

    @property
    def unseen_s(self) -> float:
        """How long before the last look what it found may have happened; 0 after a blink."""
        return self.lasted_s if self.lasted_s > BLINK_S else 0.0
