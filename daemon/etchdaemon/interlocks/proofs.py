"""When each safety contact was last seen to open: one that never does may be stuck, and looks safe.

No daemon can find that out by looking. A person presses the stop button or holds a test lamp to
the detector; what the box saw of it, and when, is kept and shown, and after a month asked for.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from etchdaemon.interlocks.inputs import Input, Look, Output

DUE_AFTER_DAYS: Final = 30  # common practice, no source
OPEN_FOR_S: Final = 0.1  # what opens more briefly is a loose wire rather than a hand


@dataclass(frozen=True, slots=True)
class Kind:
    """A contact, and what opens it; without that it opens often enough by itself."""

    label: str
    how: str = ""


KINDS: Final[Mapping[Input, Kind]] = {
    Input.STOP_CIRCUIT: Kind("stop circuit", "Press the stop button, release it, and reset."),
    Input.FLAME: Kind(
        "flame or smoke detector", "Use its test button or hold a test lamp to it, and reset."
    ),
    Input.TEMPERATURE: Kind(
        "temperature switch", "Take one of its wires off for a moment, and put it back."
    ),
    Input.LID: Kind("lid contact"),
    Input.LID_SECOND: Kind("second lid contact"),
}


class Proofs:
    """Watches contacts open and close again, and knows the day on which each last did."""

    def __init__(self, wired: frozenset[Input | Output]) -> None:
        self._wired = tuple(name for name in KINDS if name in wired)
        self._open_since_s: dict[Input, float] = {}
        self._fresh: list[Input] = []
        self._days: dict[Input, str] = {}

    def see(self, look: Look) -> None:
        """Take in one look; an input that cannot be read proves nothing."""
        for name in self._wired:
            level = look.levels.get(name)
            if level is None:
                self._open_since_s.pop(name, None)
            elif not level.is_closed:
                self._open_since_s.setdefault(name, look.now_s)
            elif name in self._open_since_s:
                lasted_s = look.now_s - self._open_since_s.pop(name)
                if lasted_s >= OPEN_FOR_S:
                    self._fresh.append(name)

    def take_fresh(self) -> tuple[Input, ...]:
        """Return what has opened and closed again since this was asked last."""
        if not self._fresh:
            return ()
        fresh, self._fresh = tuple(self._fresh), []
        return fresh

    def note(self, name: Input, day: str) -> bool:
        """Note the day of a proof (as 2026-11-25); return whether that is news."""
        is_news = self._days.get(name) != day
        self._days[name] = day
        return is_news

    def recall(self, days: Mapping[str, str]) -> None:
        """Take what an earlier life of the daemon has noted, where nothing newer is known."""
        known = {name: days[name.value] for name in self._wired if name.value in days}
        self._days = known | self._days

    def record(self) -> dict[str, str | None]:
        """Return the last day of each, for the run's record."""
        return {name.value: self._days.get(name) for name in self._wired}

    def report(self, day: str) -> list[dict[str, Any]]:
        """Return what a person is shown on `day`: plain JSON values."""
        return [self._shown(name, day) for name in self._wired]

    def _shown(self, name: Input, day: str) -> dict[str, Any]:
        kind, last = KINDS[name], self._days.get(name)
        is_due = bool(kind.how) and _is_long_ago(last, day)
        said = f"was last seen to open on {last}" if last else "has not been seen to open yet"
        request = f" {kind.how}" if is_due else ""
        return {
            "name": name.value,
            "day": last,
            "is_due": is_due,
            "sentence": f"The {kind.label} {said}.{request}",
        }


def _is_long_ago(last: str | None, day: str) -> bool:
    if last is None:
        return True
    try:
        days = (date.fromisoformat(day) - date.fromisoformat(last)).days
    except ValueError:
        return True
    return not 0 <= days <= DUE_AFTER_DAYS  # a day to come: the clock was wrong, then or now
