"""Proof tests: the day on which each safety contact was last seen to open.

A contact that is stuck closed looks safe, and reading it does not tell. A person presses the stop
button or holds a test lamp to the detector; the box keeps the day and asks again after a month.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from etchdaemon.interlocks.inputs import Input, Look, Output
from etchwire.calls.interlock_report import ProofView

DUE_AFTER_DAYS: Final = 30  # common practice, no source
OPEN_FOR_S: Final = 0.1  # shorter than any hand: a loose wire


@dataclass(frozen=True, slots=True)
class ProofKind:
    """A contact and how a person opens it; one that daily work opens is not asked for by date."""

    label: str
    how: str
    is_opened_daily: bool = False


_OPEN_LID: Final = "Open the lid for a moment."
PROOF_KINDS: Final[Mapping[Input, ProofKind]] = {
    Input.STOP_CIRCUIT: ProofKind("stop circuit", "Press the stop button, release it, and reset."),
    Input.FLAME: ProofKind(
        "flame or smoke detector", "Use its test button or hold a test lamp to it, and reset."
    ),
    Input.TEMPERATURE: ProofKind(
        "temperature switch", "Take one of its wires off for a moment, and put it back."
    ),
    Input.LID: ProofKind("lid contact", _OPEN_LID, is_opened_daily=True),
    Input.LID_SECOND: ProofKind("second lid contact", _OPEN_LID, is_opened_daily=True),
}
# What has to be proven again at another pin; each arming proves loop and fan.
AT_NEW_PINS: Final = (Input.LID, Input.LID_SECOND, Input.STOP_CIRCUIT, Input.FLAME)
PINS_CHANGED: Final = (
    "The pins in the box's file were changed. Before arming, let each of these open once: {names}."
)


class ProofTests:
    """Watches contacts open and close again, and keeps the day on which each last did."""

    def __init__(self, wired: frozenset[Input | Output]) -> None:
        self._wired = tuple(name for name in PROOF_KINDS if name in wired)
        self._open_since_s: dict[Input, float] = {}
        self._openings: list[Input] = []
        self._days: dict[Input, str] = {}
        self._unproven: set[Input] = set()  # at the pins that they have now
        self._is_required = False

    @property
    def required_action(self) -> str | None:
        """What has to be opened at the machine before arming, in a sentence; else None."""
        if not (self._is_required and self._unproven):
            return None
        names = ", ".join(PROOF_KINDS[name].label for name in self._wired if name in self._unproven)
        return PINS_CHANGED.format(names=names)

    def demand(self, proven: Collection[str], *, is_required: bool) -> None:
        """Ask for every contact that is not `proven` at its present pin.

        `proven` are names of inputs; `is_required`: arming waits for the proof.
        """
        inputs = set(AT_NEW_PINS) & set(self._wired)
        self._unproven = {name for name in inputs if name.value not in proven}
        self._is_required = is_required

    def take(self, look: Look) -> None:
        """Take in one look; an unread input proves nothing."""
        for name in self._wired:
            level = look.levels.get(name)
            if level is None:
                self._open_since_s.pop(name, None)
            elif not level.is_closed:
                self._open_since_s.setdefault(name, look.now_s)
            elif name in self._open_since_s:
                lasted_s = look.now_s - self._open_since_s.pop(name)
                if lasted_s >= OPEN_FOR_S:
                    self._openings.append(name)

    def take_openings(self) -> tuple[Input, ...]:
        """Return the inputs that have opened and closed again since the last call."""
        if not self._openings:
            return ()
        openings, self._openings = tuple(self._openings), []
        return openings

    def note(self, name: Input, day: str) -> bool:
        """Note the day of a proof (as 2026-11-25); return whether it was not known."""
        is_news = self._days.get(name) != day or name in self._unproven
        self._days[name] = day
        self._unproven.discard(name)
        return is_news

    def recall(self, days: Mapping[str, str]) -> None:
        """Take the days from the logbook, by inputs' names, where nothing newer is known."""
        recalled = {name: days[name.value] for name in self._wired if name.value in days}
        self._days = recalled | self._days

    def record(self) -> dict[str, str | None]:
        """Return the last day of each contact, for the run's record."""
        return {name.value: self._days.get(name) for name in self._wired}

    def report(self, day: str) -> tuple[ProofView, ...]:
        """Return what a person is shown on `day` (as 2026-11-28), in the order of the kinds."""
        return tuple(self._view(name, day) for name in self._wired)

    def _view(self, name: Input, day: str) -> ProofView:
        kind, last = PROOF_KINDS[name], self._days.get(name)
        is_unproven = name in self._unproven
        is_due = is_unproven or (not kind.is_opened_daily and _is_long_ago(last, day))
        seen = f"was last seen to open on {last}" if last else "is not tested yet"
        if last and is_unproven:
            seen += ", but maybe at another pin"
        how = f" {kind.how}" if is_due else ""
        return ProofView(
            name=name.value,
            day=last,
            is_due=is_due,
            sentence=f"The {kind.label} {seen}.{how}",
        )


def _is_long_ago(last: str | None, day: str) -> bool:
    if last is None:
        return True
    try:
        days = (date.fromisoformat(day) - date.fromisoformat(last)).days
    except ValueError:
        return True
    return not 0 <= days <= DUE_AFTER_DAYS  # a future day: the clock was wrong, then or now
