"""Moves of the head with the beam off: straight lines, then a check of the place.

The moves are the controller's own jogs: they leave its modes alone, end at rest, and a jog cancel
ends them at any time, the waiting ones included. A feed hold does not: the 32-bit firmware
ignores it in a jog. The beam is switched off before the first move, and its contact stays open.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import dist
from typing import ClassVar, Final, TypeAlias

from etchdaemon.controller.controller_command import NO_ANSWER, failure_by
from etchdaemon.controller.events import (
    AlarmRaised,
    Event,
    Greeted,
    LineAccepted,
    LineRefused,
    StatusReported,
)
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.orders import NOTHING, Order, Orders, SendLine

Spot: TypeAlias = tuple[float, float]  # x, y in mm, in the job's coordinates

# A jog keeps the beam's state of the last cutting move, so that is ended first.
BEAM_OFF: Final = b"M5S0"
POLLS_EVERY_S: Final = 0.1
SAME_PLACE_MM: Final = 0.02
SPARE_S: Final = 5.0  # beside the way itself: for the link, for ramps at every corner
BRAKING_S: Final = 3.0

STOPPED: Final = "The head was stopped on its way."
ELSEWHERE: Final = "The head came to rest before it was where it should be."
DOOR: Final = "The controller says that the lid is open, so it does not move."
TOO_LONG: Final = "The head took too long, so it was stopped. Look at the machine."


def way_mm(places_mm: Sequence[Spot]) -> float:
    """Return the length of the way through `places_mm`, in mm."""
    return sum(dist(one, other) for one, other in pairwise(places_mm))


def jog(place_mm: Spot, feed_mm_per_min: float) -> bytes:
    """Return the line that moves the head straight to a place, whatever modes are in force."""
    x_mm, y_mm = place_mm
    return f"$J=G90G21X{x_mm:z.3f}Y{y_mm:z.3f}F{feed_mm_per_min:.0f}".encode("ascii")


@dataclass(slots=True, kw_only=True)
class Moving:
    """Takes the head through `places_mm`, in the job's coordinates.

    At its end `failure` is a sentence where the head is not at the last of them.
    """

    polls_every_s: ClassVar[float | None] = POLLS_EVERY_S

    places_mm: Sequence[Spot]
    feed_mm_per_min: float
    firmware: Firmware
    from_mm: Spot
    failure: str | None = None
    is_over: bool = False
    _sent: int = 0
    _is_queued: bool = False
    _is_braking: bool = False
    _rest_reports: int = 0
    _until_s: float = 0.0

    def begin(self, now_s: float) -> Orders:
        """Switch the beam off; the moves follow its reply."""
        way_s = way_mm((self.from_mm, *self.places_mm)) / self.feed_mm_per_min * 60
        self._until_s = now_s + 2 * way_s + SPARE_S
        return (SendLine(BEAM_OFF),)

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Send the next move at each reply, then wait for rest."""
        match event:
            case LineAccepted():
                return self._send_next()
            case LineRefused(code=code):
                return self._brake(str(self.firmware.error(code)), now_s)
            case StatusReported():
                return self._reported(event)
            case AlarmRaised() | Greeted():
                self._end(failure_by(event, self.firmware))
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Cancel a move that takes too long."""
        if self.is_over or now_s < self._until_s:
            return NOTHING
        if not self._is_braking:
            return self._brake(TOO_LONG, now_s)
        self.failure = NO_ANSWER
        self.is_over = True
        return NOTHING

    def stop(self, because: str, now_s: float) -> Orders:
        """Brake now and drop the remaining moves."""
        return NOTHING if self._is_braking or self.is_over else self._brake(because, now_s)

    def _send_next(self) -> Orders:
        if self._is_braking:
            return NOTHING
        if self._sent == len(self.places_mm):
            self._is_queued = True
            return NOTHING
        self._sent += 1
        return (SendLine(jog(self.places_mm[self._sent - 1], self.feed_mm_per_min)),)

    def _reported(self, report: StatusReported) -> Orders:
        if report.state == "Door":
            self._end(DOOR)
            return NOTHING
        self._rest_reports = self._rest_reports + 1 if report.is_at_rest else 0
        if self._is_braking and report.state == "Jog":  # it began behind the first cancel
            return (Order.JOG_CANCEL,)
        # One report of rest may be older than the start of motion; two are not.
        if self._rest_reports < 2:
            return NOTHING
        if self._is_braking:
            self.is_over = True
        elif self._is_queued:
            self._end(None if _is_at(report, self.places_mm[-1]) else ELSEWHERE)
        return NOTHING

    def _brake(self, because: str, now_s: float) -> Orders:
        self._is_braking = True
        self._rest_reports = 0
        self.failure = because
        self._until_s = now_s + BRAKING_S
        return (Order.JOG_CANCEL, Order.REPORT)

    def _end(self, failure: str | None) -> None:
        self.failure = failure
        self.is_over = True


def _is_at(report: StatusReported, place_mm: Spot) -> bool:
    return report.work_mm is not None and dist(report.work_mm[:2], place_mm) <= SAME_PLACE_MM
