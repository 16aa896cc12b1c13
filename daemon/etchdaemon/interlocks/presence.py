"""Whether a person stands at the machine: what no phone can pretend."""

from dataclasses import dataclass, replace
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds

WITHIN_S: Final = 60.0
LONGEST_PRESS_S: Final = 5.0  # a button down for longer is stuck, leant on or short-circuited


@dataclass(frozen=True, slots=True)
class Presence:
    """When somebody last did something at the machine with their own hand.

    With an arm button that is a press and a release; a button that never comes up again shows
    nobody. Without one it is the lid, opened and shut for the stable time.
    """

    at_s: float | None = None
    pressed_at_s: float | None = None
    was_up: bool = False
    was_lid_open: bool = False

    def is_fresh(self, now_s: WallSeconds) -> bool:
        """Return whether somebody was there within the last minute."""
        return self.at_s is not None and now_s - self.at_s <= WITHIN_S

    def left_s(self, now_s: WallSeconds) -> float:
        """Return how much of that minute is left."""
        return 0.0 if self.at_s is None else max(0.0, self.at_s + WITHIN_S - now_s)

    def after_button(self, *, is_down: bool, now_s: WallSeconds) -> "Presence":
        """Return what is known after a look at the arm button."""
        if is_down:
            began_s = now_s if self.was_up else self.pressed_at_s
            return replace(self, pressed_at_s=began_s, was_up=False)
        was_pressed = self.pressed_at_s is not None
        if was_pressed and now_s - (self.pressed_at_s or 0.0) <= LONGEST_PRESS_S:
            return replace(self, at_s=now_s, pressed_at_s=None, was_up=True)
        return replace(self, pressed_at_s=None, was_up=True)

    def after_lid(self, *, is_open: bool, is_shut: bool, now_s: WallSeconds) -> "Presence":
        """Return what is known after a look at the lid; `is_shut` only once it is so stably."""
        if is_open:
            return replace(self, was_lid_open=True)
        if is_shut and self.was_lid_open:
            return replace(self, at_s=now_s, was_lid_open=False)
        return self

    def used(self) -> "Presence":
        """Return the same with nobody there: what was shown once counts once."""
        return replace(self, at_s=None)
