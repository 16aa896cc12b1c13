"""Bring a moving machine to rest without losing its position, then empty the controller.

The controller keeps its position through a reset only when it has come to rest before. What
is still on its way when it resets would be run afterwards, so the line is emptied first.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum, auto
from math import dist
from typing import Final

from etchdaemon.controller.events import AlarmRaised, Event, Greeted, StatusReported
from etchdaemon.controller.orders import NOTHING, Order, Orders
from etchdaemon.run.resetting import Resetting

DRAIN_S: Final = 0.015  # 128 bytes at 115200 baud are on their way for 11 ms
REPORT_TIMEOUT_S: Final = 1.0
REST_TIMEOUT_S: Final = 0.5  # beside the time that braking itself takes
SAME_PLACE_MM: Final = 0.02


def braking_s(*, feed_mm_per_min: float, acceleration_mm_per_s2: float) -> float:
    """Return how long the head takes to come to rest, in seconds: v / a."""
    return feed_mm_per_min / 60 / acceleration_mm_per_s2


class _Step(Enum):
    BRAKING = auto()
    DRAINING = auto()
    RESETTING = auto()
    CHECKING = auto()
    DONE = auto()
    FAILED = auto()


@dataclass(slots=True, kw_only=True)
class Stopping:
    """Feed hold, rest, reset, and a check that the head is still where it came to rest.

    With `cuts_first` the beam enable goes off before anything else, as for a fault; otherwise
    at rest, so that the row is burnt as far as the head goes. `has_failed` asks for an
    Emergency; otherwise `is_position_known` tells whether the head is where it came to rest.
    """

    cuts_first: bool
    timeout_s: float
    rest: StatusReported | None = None
    is_position_known: bool = False
    _step: _Step = _Step.BRAKING
    _until_s: float = 0.0
    _idle_reports: int = 0
    _resetting: Resetting = field(default_factory=Resetting)

    @property
    def is_over(self) -> bool:
        """Whether the controller is at rest, empty and checked, or cannot be brought there."""
        return self._step in (_Step.DONE, _Step.FAILED)

    @property
    def has_failed(self) -> bool:
        """Whether the machine did not come to rest, or did not answer."""
        return self._step is _Step.FAILED

    @property
    def polls_every_s(self) -> float | None:
        """Ten a second while it brakes, none while it restarts."""
        return 0.1 if self._step in (_Step.BRAKING, _Step.CHECKING) else None

    def begin(self, now_s: float) -> Orders:
        """Order a feed hold and a report at once."""
        self._until_s = now_s + self.timeout_s
        cut = (Order.CUT_BEAM,) if self.cuts_first else ()
        return (*cut, Order.FEED_HOLD, Order.REPORT)

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Follow the machine to rest and through the reset."""
        match event:
            case StatusReported():
                return self._reported(event, now_s)
            case AlarmRaised() if self._step is _Step.BRAKING:
                return self._drain(now_s)
            case Greeted():
                return self._greeted(event, now_s)
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Take the next step, or give up, when its time is up."""
        if self._step is _Step.RESETTING:
            orders = self._resetting.tick(now_s)
            if self._resetting.has_answered is False:
                self._step = _Step.FAILED
            return orders
        if self._step in _WHEN_TIME_IS_UP and now_s >= self._until_s:
            return _WHEN_TIME_IS_UP[self._step](self, now_s)
        return NOTHING

    def _reported(self, report: StatusReported, now_s: float) -> Orders:
        if self._step is _Step.CHECKING:
            # One that greets only at the second byte may have been without power meanwhile.
            self.is_position_known = (
                not self._resetting.is_repeated
                and _is_unlocked(report)
                and _is_same_place(report, self.rest)
            )
            self._step = _Step.DONE
        elif self._step is _Step.BRAKING:
            self._idle_reports = self._idle_reports + 1 if report.is_idle else 0
            # One idle report may be older than the start of motion; two are not.
            if self._idle_reports >= 2 or (report.is_at_rest and not report.is_idle):
                self.rest = report
                return self._drain(now_s)
        return NOTHING

    def _drain(self, now_s: float) -> Orders:
        self._step = _Step.DRAINING
        self._until_s = now_s + DRAIN_S
        return (Order.CUT_BEAM, Order.DISCARD_OUTPUT)

    def _reset(self, now_s: float) -> Orders:
        self._step = _Step.RESETTING
        return self._resetting.begin(now_s)

    def _greeted(self, event: Greeted, now_s: float) -> Orders:
        if self._step is _Step.RESETTING:
            self._resetting.handle_event(event, now_s)
            self._step = _Step.CHECKING
            self._until_s = now_s + REPORT_TIMEOUT_S
            return (Order.REPORT,)
        if self._step in (_Step.BRAKING, _Step.DRAINING):  # it restarted by itself
            self._step = _Step.DONE
            return (Order.CUT_BEAM, Order.DISCARD_OUTPUT)
        return NOTHING

    def _fail(self, _now_s: float) -> Orders:
        self._step = _Step.FAILED
        return NOTHING


_WHEN_TIME_IS_UP: Final[Mapping[_Step, Callable[[Stopping, float], Orders]]] = {
    _Step.BRAKING: Stopping._fail,
    _Step.DRAINING: Stopping._reset,
    _Step.CHECKING: Stopping._fail,
}


def _is_unlocked(report: StatusReported) -> bool:
    # An open door keeps the position as well, although nothing can be asked until it closes.
    return report.is_idle or report.state == "Door"


def _is_same_place(report: StatusReported, rest: StatusReported | None) -> bool:
    if rest is None or rest.machine_mm is None or report.machine_mm is None:
        return False
    return dist(report.machine_mm[:2], rest.machine_mm[:2]) <= SAME_PLACE_MM
