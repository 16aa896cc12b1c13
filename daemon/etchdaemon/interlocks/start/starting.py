"""A start: the request, the refusal for want of people, and the run's record."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.attendance.watch_rounds import (
    AttendanceRules,
    long_run_warning,
    refuse_past_closing,
)
from etchdaemon.interlocks.checks.wiring_gaps import is_attended_only, wiring_gaps
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import Setup
from etchdaemon.interlocks.start.arming import Arming
from etchdaemon.interlocks.start.checklist import Checklist


@dataclass(frozen=True, slots=True, kw_only=True)
class StartRequest:
    """A person's request for a start."""

    lasts_s: float
    starts_at: datetime
    has_constant_power: bool = False  # the file can hold the beam on at standstill
    has_acknowledged_long_run: bool = False
    stays_until_end: str = ""  # the name of somebody who stays past closing time


def refuse_without_people(
    request: StartRequest, attendance: AttendanceRules, *, wired: Collection[Input | Output]
) -> None:
    """Raise CommandRefused for a run that nobody attends to its end."""
    refuse_past_closing(
        attendance,
        starts_at=request.starts_at,
        lasts_s=request.lasts_s,
        confirmed_by=request.stays_until_end,
    )
    warning = long_run_warning(lasts_s=request.lasts_s, has_flame_input=Input.FLAME in wired)
    if warning and not request.has_acknowledged_long_run:
        raise CommandRefused(warning)


def confirmations_for(
    request: StartRequest, attendance: AttendanceRules, *, wired: Collection[Input | Output]
) -> dict[str, str | None]:
    """Return what people confirm with such a start: each a sentence, or None for nothing.

    `too_late` is the refusal that no confirmation lifts.
    """
    return {
        "long_run": long_run_warning(lasts_s=request.lasts_s, has_flame_input=Input.FLAME in wired),
        "stays": _past_closing(request, attendance, confirmed_by=""),
        "too_late": _past_closing(request, attendance, confirmed_by="whoever it may be"),
    }


def _past_closing(
    request: StartRequest, attendance: AttendanceRules, *, confirmed_by: str
) -> str | None:
    try:
        refuse_past_closing(
            attendance,
            starts_at=request.starts_at,
            lasts_s=request.lasts_s,
            confirmed_by=confirmed_by,
        )
    except CommandRefused as refused:
        return str(refused)
    return None


def record_of_start(
    request: StartRequest, setup: Setup, arming: Arming, checklist: Checklist
) -> dict[str, object]:
    """Return the entries of the run's record about the box and people's confirmations."""
    has_flame_input = Input.FLAME in setup.wired
    return {
        "checklist": checklist.record(),
        "is_attended_only": is_attended_only(setup.wired),
        "is_loop_proven": arming.is_loop_proven,
        "is_heartbeat_proven": arming.is_heartbeat_proven,
        "acknowledged": long_run_warning(lasts_s=request.lasts_s, has_flame_input=has_flame_input),
        "stays_until_end": request.stays_until_end or None,
        "lacks": [gap.sentence for gap in wiring_gaps(setup.wired)],
        "changes": {name: change.because for name, change in setup.changes.items()},
    }
