"""The occasions on which the buzzer calls somebody, and since when each of them lasts."""

from collections.abc import Mapping, Sequence
from operator import attrgetter

from etchdaemon.interlocks.attendance.attendance_calls import AttendanceCalls
from etchdaemon.interlocks.rules.latch import Trip
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction
from etchwire.alert_policy import Occasion


def buzzer_calls(
    trips: Sequence[Trip],
    worst: Reaction,
    attendance: AttendanceCalls,
    *,
    fault_at_s: float | None,
) -> Mapping[Occasion, float | None]:
    """Return since when each occasion lasts, in seconds; None where there is no such call.

    Of several trips the last one calls, unless an emergency does: `worst` is what the rules and
    trips ask for at most. `fault_at_s` is when a fault of the controller ended the run.
    """
    last = max(trips, key=attrgetter("at_s"), default=None)
    tripped = {} if last is None else {_occasion_of(last, worst): last.at_s}
    rounds = attendance.rounds
    return {
        **tripped,
        Occasion.FAULT: fault_at_s,
        Occasion.ROUND: None if rounds.is_missed else rounds.asked_at_s,
        Occasion.LOOK: attendance.looks.asked_at_s,
    }


def _occasion_of(last: Trip, worst: Reaction) -> Occasion:
    if worst is Reaction.EMERGENCY:
        return Occasion.EMERGENCY
    if last.reaction is Reaction.HOLD:
        return Occasion.HOLD_BY_BOX
    return Occasion.TRIP_AT_REST if last.phase is Phase.IDLE else Occasion.TRIP
