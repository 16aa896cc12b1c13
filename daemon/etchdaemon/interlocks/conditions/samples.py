"""A condition as last read, and since when it is so."""

from enum import StrEnum
from typing import NamedTuple


class Condition(StrEnum):
    """What has to be true before and while there is a beam."""

    LID_CLOSED = "lid closed"
    LID_CONTACTS_AGREE = "lid contacts agree"
    STOP_RELEASED = "stop circuit closed"
    NO_FIRE = "no flame or smoke"
    LOOP_OPEN_WHEN_OFF = "loop open when off"
    LOOP_CLOSED_WHEN_ON = "loop closed when on"
    EXTRACTED = "fumes extracted"
    AIR_FLOW_STILL_WHEN_OFF = "air still with the fan off"
    COOL_ENOUGH = "cool enough"
    BUTTON_RELEASED = "button released"
    CONTROLLER_OBEYS = "controller obeys"
    LOOP_ALIVE = "daemon's loop alive"
    GUARD_ALIVE = "guard well"
    ATTENDED = "somebody answers"


class Sample(NamedTuple):
    """One condition at the time it was last read; a tuple, because each look makes a dozen.

    `bad_since_s` is the start of the present bad spell. A spell is over only when the condition
    has been good without a break for the stable time: a contact that chatters stays bad.
    `is_confirmed` is false while a bad reading may still be a flicker.
    """

    is_good: bool
    read_at_s: float
    good_since_s: float | None = None
    bad_since_s: float | None = None
    is_confirmed: bool = True


def first_sample(*, is_good: bool, at_s: float) -> Sample:
    """Return the first sample of a condition: bad until it has been good for the stable time."""
    return Sample(
        is_good=is_good,
        read_at_s=at_s,
        good_since_s=at_s if is_good else None,
        bad_since_s=at_s,
    )


def next_sample(last: Sample | None, *, is_good: bool, at_s: float, stable_s: float) -> Sample:
    """Return the sample after reading `is_good` at `at_s`."""
    if last is None:
        return first_sample(is_good=is_good, at_s=at_s)
    if not is_good:
        started_s = at_s if last.bad_since_s is None else last.bad_since_s
        return Sample(is_good=False, read_at_s=at_s, good_since_s=None, bad_since_s=started_s)
    good_since_s = at_s if last.good_since_s is None else last.good_since_s
    is_over = last.bad_since_s is None or at_s - good_since_s >= stable_s
    return Sample(
        is_good=True,
        read_at_s=at_s,
        good_since_s=good_since_s,
        bad_since_s=None if is_over else last.bad_since_s,
    )
