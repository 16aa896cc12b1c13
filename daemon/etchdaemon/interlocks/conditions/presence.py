"""Whether a person is at the machine, which no phone can show."""

from dataclasses import dataclass, field, replace
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds

WITHIN_S: Final = 60.0
SHORTEST_PRESS_S: Final = 0.1  # shorter than any hand: a loose wire or a spark
LONGEST_PRESS_S: Final = 10.0  # a button down for longer is stuck, leant on or bridged


@dataclass(frozen=True, slots=True)
class SeenInterval:
    """The time from the first to the last look, without a break, that showed something."""

    from_s: WallSeconds
    to_s: WallSeconds

    @property
    def lasted_s(self) -> float:
        """The shortest time that it can have lasted."""
        return self.to_s - self.from_s


def _going_on(spell: SeenInterval | None, now_s: WallSeconds) -> SeenInterval:
    return SeenInterval(now_s if spell is None else spell.from_s, now_s)


@dataclass(frozen=True, slots=True)
class Presence:
    """When somebody last used the button or the lid by hand.

    With an arm button that is a press and a release; a button that stays down shows nobody.
    Without one it is the lid, opened and then shut for the stable time. Either must show at every
    look for a tenth of a second: an edge alone shows nobody.
    """

    at_s: WallSeconds | None = None
    was_lid_open: bool = False
    was_up: bool = False  # the button; one that is down at the first look is no press
    _down: SeenInterval | None = field(default=None, repr=False)
    _open: SeenInterval | None = field(default=None, repr=False)

    def is_recent(self, now_s: WallSeconds) -> bool:
        """Return whether somebody was present within the last minute."""
        return self.at_s is not None and now_s - self.at_s <= WITHIN_S

    def left_s(self, now_s: WallSeconds) -> float:
        """Return the seconds left of that minute."""
        return 0.0 if self.at_s is None else max(0.0, self.at_s + WITHIN_S - now_s)

    def after_button(self, *, is_down: bool, has_bounced: bool, now_s: WallSeconds) -> "Presence":
        """Return the presence after a look; `has_bounced`: it was up since the look before."""
        was_up = self.was_up or has_bounced
        if is_down:
            down = _going_on(None if has_bounced else self._down, now_s) if was_up else None
            return replace(self, was_up=was_up, _down=down)
        press = self._down
        if press is None and self.was_up:
            return self  # as at nearly every look
        is_press = press is not None and SHORTEST_PRESS_S <= press.lasted_s <= LONGEST_PRESS_S
        return replace(self, at_s=now_s if is_press else self.at_s, was_up=True, _down=None)

    def after_lid(self, *, is_open: bool, is_shut: bool, now_s: WallSeconds) -> "Presence":
        """Return the presence after a look at the lid; `is_shut`: for the stable time."""
        if is_open:
            opened = _going_on(self._open, now_s)
            was_open = self.was_lid_open or opened.lasted_s >= SHORTEST_PRESS_S
            return replace(self, was_lid_open=was_open, _open=opened)
        if is_shut and self.was_lid_open:
            return replace(self, at_s=now_s, was_lid_open=False, _open=None)
        return self if self._open is None else replace(self, _open=None)

    def used(self) -> "Presence":
        """Return nobody present: each press or lid counts once."""
        return replace(self, at_s=None)
