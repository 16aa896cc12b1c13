"""Short sequences around a hold: to the row's end, at once, and the resume."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar, Final

from etchdaemon.controller.events import Event, StatusReported
from etchdaemon.controller.orders import NOTHING, Order, Orders

WATCHFUL_S: Final = 0.1
IDLE_APART_S: Final = 0.15
MOTION_TIMEOUT_S: Final = 0.5


@dataclass(slots=True)
class Arriving:
    """Waits, with every line answered, until two idle reports show the head at rest.

    Just after the last reply of a short job a report may say idle before the motion has begun;
    so it takes two, some time apart.
    """

    polls_every_s: ClassVar[float | None] = WATCHFUL_S

    rest: StatusReported | None = None
    _idle_since_s: float | None = None

    @property
    def is_over(self) -> bool:
        """Whether the head has arrived."""
        return self.rest is not None

    def begin(self, now_s: float) -> Orders:  # noqa: ARG002 - a Sequence's signature
        """Request a report."""
        return (Order.REPORT,)

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Count idle reports without a gap."""
        if isinstance(event, StatusReported):
            if not event.is_idle:
                self._idle_since_s = None
            elif self._idle_since_s is None:
                self._idle_since_s = now_s
            elif now_s - self._idle_since_s >= IDLE_APART_S:
                self.rest = event
        return NOTHING

    def tick(self, now_s: float) -> Orders:  # noqa: ARG002
        """Nothing to do: silence is judged elsewhere."""
        return NOTHING


@dataclass(slots=True)
class HoldingNow:
    """Feed hold in mid-row; the beam enable goes off at rest, because the power fell with speed."""

    polls_every_s: ClassVar[float | None] = WATCHFUL_S

    timeout_s: float
    rest: StatusReported | None = None
    has_failed: bool = False
    _until_s: float = 0.0
    _idle_reports: int = 0

    @property
    def is_over(self) -> bool:
        """Whether the head is at rest, or has not come to rest in time."""
        return self.rest is not None or self.has_failed

    def begin(self, now_s: float) -> Orders:
        """Order a feed hold and a report at once."""
        self._until_s = now_s + self.timeout_s
        return (Order.FEED_HOLD, Order.REPORT)

    def handle_event(self, event: Event, now_s: float) -> Orders:  # noqa: ARG002
        """Cut the beam at rest."""
        if not isinstance(event, StatusReported) or self.is_over:
            return NOTHING
        self._idle_reports = self._idle_reports + 1 if event.is_idle else 0
        if event.is_held or self._idle_reports >= 2:
            self.rest = event
            return (Order.CUT_BEAM,)
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Give up when the head does not come to rest."""
        self.has_failed = self.rest is None and now_s >= self._until_s
        return NOTHING


@dataclass(slots=True)
class Enabling:
    """Beam enable on, and its time to settle; then, after a hold in mid-row, the cycle start.

    `starts_cycle` is for a hold in mid-row: motion must show within half a second.
    """

    polls_every_s: ClassVar[float | None] = WATCHFUL_S

    has_settled: Callable[[], bool]  # in wall-clock time, as contacts do
    starts_cycle: bool = False
    has_succeeded: bool = False
    has_failed: bool = False
    _until_s: float = 0.0
    _has_started: bool = False

    @property
    def is_over(self) -> bool:
        """Whether the head may move, or has not moved in time."""
        return self.has_succeeded or self.has_failed

    def begin(self, now_s: float) -> Orders:  # noqa: ARG002
        """Close the contact."""
        return (Order.ALLOW_BEAM,)

    def handle_event(self, event: Event, now_s: float) -> Orders:  # noqa: ARG002
        """Succeed once the head moves, or is idle because nothing is left to do."""
        if self._has_started and isinstance(event, StatusReported):
            self.has_succeeded = event.state not in ("Hold", "Door")
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Wait for the settling, start the cycle, and give up when nothing moves."""
        if self.is_over:
            return NOTHING
        if self._has_started:
            self.has_failed = now_s >= self._until_s
            return NOTHING
        if not self.has_settled():
            return NOTHING
        if not self.starts_cycle:
            self.has_succeeded = True
            return NOTHING
        self._has_started = True
        self._until_s = now_s + MOTION_TIMEOUT_S
        return (Order.CYCLE_START, Order.REPORT)
