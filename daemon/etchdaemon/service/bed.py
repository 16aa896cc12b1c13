"""The bed: how far the head can go, in the job's coordinates, and how sure that is."""

from dataclasses import dataclass
from typing import Any, TypeAlias

from etchdaemon.controller.facts import Facts
from etchdaemon.run.moving import Spot
from etchdaemon.service.machine import Machine

Limits: TypeAlias = tuple[Spot, Spot]  # the lower left corner, the upper right one


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """Where the head can go. Unless the machine `is_homed`, the travel counts from the origin."""

    corners_mm: Limits
    is_homed: bool

    def has_room_for(self, place_mm: Spot) -> bool:
        """Return whether the head may be sent there.

        Nobody knows where in the travel the origin of a machine lies that was not homed: what
        is further from it than the whole travel is certainly outside.
        """
        low, high = self.corners_mm
        if not self.is_homed:
            low = (-high[0], -high[1])
        return all(a <= value <= b for a, value, b in zip(low, place_mm, high, strict=True))

    def shown(self) -> dict[str, Any]:
        """Return what the snapshot says of it."""
        (left_mm, bottom_mm), (right_mm, top_mm) = self.corners_mm
        return {
            "left_mm": left_mm,
            "bottom_mm": bottom_mm,
            "right_mm": right_mm,
            "top_mm": top_mm,
            "is_homed": self.is_homed,
        }


class Whereabouts:
    """Remembers of a homed machine where the ends of its travel lie.

    Where the controller's own zero lies after homing differs between firmwares and builds, so
    the ends are taken from where the head came to rest: pulled off the switches, in the corner
    that the settings name.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._homed: tuple[int, Limits] | None = None  # restarts then, ends in machine's mm

    def note_homed(self) -> None:
        """Note that homing has just ended well and the controller has said where the head is."""
        facts = self._machine.facts
        limits = None if facts is None else _limits_of(facts)
        self._homed = None if limits is None else (self._machine.restarts, limits)

    def forget(self) -> None:
        """Note that the controller's idea of the place is doubtful."""
        self._homed = None

    @property
    def bed(self) -> Bed | None:
        """The bed, or None while the controller does not say how far it can go."""
        facts, report = self._machine.facts, self._machine.report
        travel_mm = None if facts is None else _travel_of(facts)
        if travel_mm is None:
            return None
        offset_mm = None if report is None else report.offset_mm
        if self._homed is None or self._homed[0] != self._machine.restarts or offset_mm is None:
            return Bed(corners_mm=((0.0, 0.0), travel_mm), is_homed=False)
        low, high = self._homed[1]
        return Bed(corners_mm=(_from(low, offset_mm), _from(high, offset_mm)), is_homed=True)


def _travel_of(facts: Facts) -> Spot | None:
    x_mm, y_mm = facts.settings.travel_mm
    return None if not x_mm or not y_mm else (x_mm, y_mm)


def _limits_of(facts: Facts) -> Limits | None:
    """Return the ends of the travel of a machine that has just been homed."""
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


def _from(place_mm: Spot, offset_mm: tuple[float, ...]) -> Spot:
    return (round(place_mm[0] - offset_mm[0], 3), round(place_mm[1] - offset_mm[1], 3))
