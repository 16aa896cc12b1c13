"""Where the ends of the travel lie: of a homed machine, and of one that was not."""

from etchdaemon.controller.facts import Facts
from etchdaemon.run.moving import Spot
from etchdaemon.run.position_epoch import Ends
from etchdaemon.service.link.machine import Machine
from etchwire.bed import Bed


def bed_of(machine: Machine) -> Bed | None:
    """Return the bed in the job's coordinates; None while the controller does not say how far."""
    facts, report, ends_mm = machine.facts, machine.report, machine.epoch.ends_mm
    travel_mm = None if facts is None else _travel_of(facts)
    if travel_mm is None:
        return None
    if ends_mm is None or report is None or report.offset_mm is None:
        return Bed.unhomed(*travel_mm)
    (left_mm, bottom_mm), (right_mm, top_mm) = ends_mm
    x_mm, y_mm = report.offset_mm[:2]
    return Bed(
        left_mm=_from(left_mm, x_mm),
        bottom_mm=_from(bottom_mm, y_mm),
        right_mm=_from(right_mm, x_mm),
        top_mm=_from(top_mm, y_mm),
        is_homed=True,
    )


def _travel_of(facts: Facts) -> Spot | None:
    x_mm, y_mm = facts.settings.travel_mm
    return None if not x_mm or not y_mm else (x_mm, y_mm)


def ends_of(facts: Facts) -> Ends | None:
    """Return the ends of the travel of a machine that has just been homed, in its coordinates.

    Where the controller's own zero lies after homing differs between firmwares and builds, so
    the ends are taken from where the head came to rest: pulled off the switches, in the corner
    that the settings name.
    """
    travel_mm, place_mm = _travel_of(facts), facts.report.machine_mm
    if travel_mm is None or place_mm is None:
        return None
    low_ends = int(facts.settings.number(23) or 0)
    pull_off_mm = facts.settings.number(27) or 0.0
    low, high = [], []
    for axis in (0, 1):
        if low_ends >> axis & 1:
            low.append(place_mm[axis] - pull_off_mm)
            high.append(low[axis] + travel_mm[axis])
        else:
            high.append(place_mm[axis] + pull_off_mm)
            low.append(high[axis] - travel_mm[axis])
    return (low[0], low[1]), (high[0], high[1])


def _from(end_mm: float, origin_mm: float) -> float:
    return round(end_mm - origin_mm, 3) + 0.0  # no minus before a nought
