"""What a person may have the head do between runs, with the beam off: which way it goes."""

from typing import Final

from etchdaemon.controller.facts import Facts
from etchdaemon.controller.window import ReceiveWindow
from etchdaemon.errors import CommandRefused
from etchdaemon.run.measuring import WAY_MM, Measuring, even_feed_mm_per_min
from etchdaemon.run.moving import Moving, Spot
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.machine import Machine
from etchwire.bed import Bed
from etchwire.calls.machine import Measure, MoveBy, MoveTo, TraceOutline
from etchwire.sheet import Bounds

FEED_MM_PER_MIN: Final = 3000.0  # a head that somebody follows with the eye
NOWHERE: Final = "The controller does not say where the head is, or how far it can go."
NOT_AT_REST: Final = "The head can be moved only while the machine is unlocked and at rest."
NO_PICTURE: Final = "No picture is loaded, so there is no outline to trace."
MEASURE: Final = "measure"
WAYS: Final = ("move_to", "move_by", "trace_outline")
AnyMove = MoveTo | MoveBy | TraceOutline | Measure


def _places(
    call: MoveTo | MoveBy | TraceOutline, here_mm: Spot, job: SpooledJob | None
) -> tuple[Spot, ...]:
    """Return the places to go to, one after the other; raise CommandRefused."""
    match call:
        case MoveTo():
            return ((call.x_mm, call.y_mm),)
        case MoveBy():
            return ((here_mm[0] + call.x_mm, here_mm[1] + call.y_mm),)
        case TraceOutline():
            return _outline(job, with_run_ups=call.with_run_ups)


def _outline(job: SpooledJob | None, *, with_run_ups: bool) -> tuple[Spot, ...]:
    """Return the corners once round, so that the pointer (or the beam's place) follows them."""
    if job is None:
        raise CommandRefused(NO_PICTURE)
    sheet = job.sheet
    around = sheet.motion if with_run_ups else sheet.picture
    return tuple(
        (x_mm - sheet.head.pointer_x_mm, y_mm - sheet.head.pointer_y_mm)
        for x_mm, y_mm in _corners(around)
    )


def moves_for(facts: Facts | None, bed: Bed | None, job: SpooledJob | None) -> list[str]:
    """Return the names of what may be asked of a controller known by `facts`, at rest."""
    if facts is None or not facts.report.is_idle or bed is None:
        return []
    return [*(name for name in WAYS if job is not None or name != "trace_outline"), MEASURE]


def move_for(
    call: MoveTo | MoveBy | TraceOutline,
    *,
    machine: Machine,
    bed: Bed | None,
    job: SpooledJob | None,
) -> Moving:
    """Return the move that `call` asks for; raise CommandRefused where it cannot be made.

    Without homing and without an origin of this epoch coordinates mean nothing: the travel is
    counted from where the head is.
    """
    facts, here_mm = _at_rest(machine, bed)
    if bed is None or facts.firmware is None:
        raise CommandRefused(NOWHERE)
    places_mm = _places(call, here_mm, job)
    is_placed = _is_placed(machine, bed)
    zero_mm, seen_from = ((0.0, 0.0), "the origin") if is_placed else (here_mm, "where it is now")
    for x_mm, y_mm in places_mm:
        seen_mm = (x_mm - zero_mm[0], y_mm - zero_mm[1])
        if bed.is_outside(*seen_mm):
            raise CommandRefused(_outside(seen_mm, bed, seen_from))
    return Moving(
        places_mm=places_mm,
        feed_mm_per_min=min(FEED_MM_PER_MIN, *_most_feeds(facts)),
        firmware=facts.firmware,
        from_mm=here_mm,
    )


def measuring_for(*, machine: Machine, bed: Bed | None) -> Measuring:
    """Return the measurement of the controller; raise CommandRefused where it cannot be made."""
    facts, here_mm = _at_rest(machine, bed)
    acceleration = facts.settings.number(120)
    if bed is None or facts.build is None or facts.firmware is None or not acceleration:
        raise CommandRefused(NOWHERE)
    zero_mm = (0.0, 0.0) if _is_placed(machine, bed) else here_mm
    x_mm, y_mm = here_mm[0] - zero_mm[0], here_mm[1] - zero_mm[1]
    for way in (1, -1):
        if not bed.is_outside(x_mm + way * WAY_MM, y_mm):
            return Measuring(
                firmware=facts.firmware,
                max_feed_mm_per_min=min(even_feed_mm_per_min(acceleration), *_most_feeds(facts)),
                window_bytes=ReceiveWindow(facts.build.receive_bytes).capacity_bytes,
                way=way,
            )
    raise CommandRefused(f"The head needs {WAY_MM:g} mm of room to its right or to its left.")


def _at_rest(machine: Machine, bed: Bed | None) -> tuple[Facts, Spot]:
    """Return what is known of a machine at rest, and where its head is; raise CommandRefused."""
    facts, report = machine.facts, machine.report
    if facts is None or facts.firmware is None or not facts.report.is_idle:
        raise CommandRefused(NOT_AT_REST)
    if bed is None or report is None or report.work_mm is None:
        raise CommandRefused(NOWHERE)
    return facts, (report.work_mm[0], report.work_mm[1])


def _is_placed(machine: Machine, bed: Bed) -> bool:
    return bed.is_homed or machine.epoch.origin is not None


def _most_feeds(facts: Facts) -> list[float]:
    most = (facts.settings.number(setting) for setting in (110, 111))
    return [feed for feed in most if feed] or [FEED_MM_PER_MIN]


def _outside(place_mm: Spot, bed: Bed, seen_from: str) -> str:
    reach = bed.reach
    return (
        f"The head cannot go to x {place_mm[0]:z.1f}, y {place_mm[1]:z.1f} mm: seen from"
        f" {seen_from} it reaches from x {reach.left_mm:z.1f} to {reach.right_mm:z.1f}"
        f" and from y {reach.bottom_mm:z.1f} to {reach.top_mm:z.1f} mm."
    )


def _corners(bounds: Bounds) -> tuple[Spot, ...]:
    left, right = bounds.left_mm, bounds.right_mm
    bottom, top = bounds.bottom_mm, bounds.top_mm
    return ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))
