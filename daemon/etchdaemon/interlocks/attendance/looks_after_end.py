"""Looks after the end: a smouldering fire shows later, so the box asks for two looks."""

from dataclasses import dataclass, replace
from typing import Final, Self

from etchdaemon.interlocks.clocks import WallSeconds

LOOKS: Final = 2
LOOK_EVERY_MIN: Final = 15.0  # common practice, no source
SECONDS_PER_MINUTE: Final = 60.0


@dataclass(frozen=True, slots=True)
class LooksAfterEnd:
    """The looks after one run with a beam; the next start ends them.

    `number` is that of the last look that was asked for, `asked_at_s` since when it waits for
    its answer. Nothing on the machine waits for one; the second takes the first one's place.
    """

    has_burnt: bool = False
    ended_at_s: WallSeconds | None = None
    number: int = 0
    asked_at_s: WallSeconds | None = None

    def advance(
        self, *, is_etching: bool, is_beam_on: bool, every_min: float, now_s: WallSeconds
    ) -> "LooksAfterEnd":
        """Return the looks at `now_s`; `every_min` lies between two of them."""
        if is_etching:
            has_burnt = is_beam_on or (self.has_burnt and self.ended_at_s is None)
            return LooksAfterEnd(has_burnt=has_burnt)
        if self.ended_at_s is None:
            return replace(self, ended_at_s=now_s) if self.has_burnt else self
        due = _due(self.ended_at_s, every_min, now_s)
        return replace(self, number=due, asked_at_s=now_s) if due > self.number else self

    @classmethod
    def recalled(cls, *, ended_at_s: WallSeconds, every_min: float, now_s: WallSeconds) -> Self:
        """Return the looks after a run before this start of the daemon; missed ones are over."""
        return cls(has_burnt=True, ended_at_s=ended_at_s, number=_due(ended_at_s, every_min, now_s))

    def answer(self) -> "LooksAfterEnd":
        """Return the looks after an answer."""
        return replace(self, asked_at_s=None)

    @property
    def is_asking(self) -> bool:
        """Whether a look waits for its answer."""
        return self.asked_at_s is not None


def _due(ended_at_s: WallSeconds, every_min: float, now_s: WallSeconds) -> int:
    return min(LOOKS, int((now_s - ended_at_s) / (every_min * SECONDS_PER_MINUTE)))


def look_sentence(looks: LooksAfterEnd, *, every_min: float, has_button: bool) -> str:
    """Return what to look at, and how to answer."""
    button = "press the button there, or answer here or" if has_button else "answer here or"
    return (
        f"The etch ended {looks.number * every_min:g} min ago. Look whether anything glows or"
        f" smokes in the box, its filter and its bin; then {button} by “etchwarden answer”."
    )
