"""Somebody within reach: watch rounds, closing time, and long runs without a flame detector."""

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.attendance.looks_after_end import (
    LOOK_EVERY_MIN,
    LOOKS,
    SECONDS_PER_MINUTE,
)
from etchdaemon.interlocks.clocks import WallSeconds

# A round that comes too often is switched off, so it comes three times an hour at most; one that
# comes too seldom watches nothing. Common practice, no source.
ROUND_EVERY_MIN: Final = (20.0, 30.0)
LONG_RUN_S: Final = 1800.0  # half an hour; common practice, no source
_DAY_TURNS_AFTER: Final = timedelta(hours=4)


@dataclass(frozen=True, slots=True, kw_only=True)
class AttendanceRules:
    """How often the box calls for somebody, and until what time they are there."""

    round_every_min: float | None = None  # None: no rounds, unless the box may only run attended
    answer_within_min: float = 5.0
    look_every_min: float = LOOK_EVERY_MIN  # after the end
    closing_time: time | None = None
    is_closing_time_firm: bool = True  # else somebody may answer for it by name


@dataclass(frozen=True, slots=True)
class WatchRounds:
    """The watch rounds of one run; `asked_at_s` is None between two rounds."""

    answered_at_s: float | None = None  # None: no run, nobody is asked
    asked_at_s: float | None = None
    is_missed: bool = False

    def begin(self, now_s: WallSeconds) -> "WatchRounds":
        """Return the rounds of a run that starts or resumes now."""
        return WatchRounds(answered_at_s=now_s)

    def end(self) -> "WatchRounds":
        """Return no rounds."""
        return WatchRounds()

    def answer(self, now_s: WallSeconds) -> "WatchRounds":
        """Return the rounds after an answer; between runs it changes nothing."""
        return WatchRounds(answered_at_s=None if self.answered_at_s is None else now_s)

    def advance(self, rules: AttendanceRules, now_s: WallSeconds) -> "WatchRounds":
        """Return the rounds after a look at the clock."""
        if self.answered_at_s is None or rules.round_every_min is None:
            return self
        if self.asked_at_s is None:
            is_due = now_s - self.answered_at_s >= rules.round_every_min * SECONDS_PER_MINUTE
            return replace(self, asked_at_s=now_s) if is_due else self
        waited_s = now_s - self.asked_at_s
        return replace(self, is_missed=waited_s >= rules.answer_within_min * SECONDS_PER_MINUTE)

    @property
    def is_asking(self) -> bool:
        """Whether a round waits for its answer."""
        return self.asked_at_s is not None


def rounds_for(rules: AttendanceRules, *, is_attended_only: bool) -> AttendanceRules:
    """Return `rules`, with rounds added on a box that may only run attended."""
    if not is_attended_only or rules.round_every_min is not None:
        return rules
    return replace(rules, round_every_min=ROUND_EVERY_MIN[0])


def round_sentence(rules: AttendanceRules, *, has_button: bool) -> str:
    """Return what a watch round asks, how to answer it, and what follows without an answer."""
    button = "Press the button there, or answer here or" if has_button else "Answer here or"
    return (
        f"Is somebody within reach of the machine? {button} by “etchwarden answer”, within"
        f" {rules.answer_within_min:g} minutes. Without an answer it holds at the row's end."
    )


def refuse_past_closing(
    rules: AttendanceRules, *, starts_at: datetime, lasts_s: float, confirmed_by: str
) -> None:
    """Raise CommandRefused where a run or its last look ends late, unless somebody stays by name.

    `starts_at` is local time.
    """
    said = late_end(rules, goes_on_at=starts_at, lasts_s=lasts_s)
    if said is None:
        return
    if rules.is_closing_time_firm:
        raise CommandRefused(f"{said}. Start it earlier, or tomorrow.")
    if not confirmed_by.strip():
        raise CommandRefused(f"{said}. Whoever stays until then confirms it with their name.")


def late_end(rules: AttendanceRules, *, goes_on_at: datetime, lasts_s: float) -> str | None:
    """Return, without a full stop, that a run or its last look ends after closing time; or None.

    `goes_on_at` is local time. A working day turns at four in the morning, so a closing time of
    one o'clock belongs to the evening before it.
    """
    if rules.closing_time is None:
        return None
    working_day = (goes_on_at - _DAY_TURNS_AFTER).date()
    closes_at = datetime.combine(working_day, rules.closing_time, tzinfo=goes_on_at.tzinfo)
    if closes_at.hour < _DAY_TURNS_AFTER // timedelta(hours=1):
        closes_at += timedelta(days=1)
    ends_at = goes_on_at + timedelta(seconds=lasts_s)
    looked_at = ends_at + timedelta(minutes=LOOKS * rules.look_every_min)
    if looked_at <= closes_at:
        return None
    return (
        f"This would end at {ends_at:%H:%M} and its last look come at {looked_at:%H:%M}, after "
        f"closing time at {closes_at:%H:%M}"
    )


def long_run_warning(*, lasts_s: float, has_flame_input: bool) -> str | None:
    """Return what to acknowledge before a long run without a flame detector; None: nothing."""
    if has_flame_input or lasts_s <= LONG_RUN_S:
        return None
    minutes = round(lasts_s / SECONDS_PER_MINUTE)
    return (
        f"This runs for {minutes} minutes and nothing here notices a fire. "
        "Stay where you see the box, with an extinguisher at hand."
    )
