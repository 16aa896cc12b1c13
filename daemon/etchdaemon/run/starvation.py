"""Whether the planner runs dry in mid-row, which slows the head down, and by what cause."""

from dataclasses import dataclass, field
from enum import Enum
from typing import Final

from etchdaemon.controller.events import StatusReported

FREE_SHARE: Final = 5  # a fifth of the planner free: 3 blocks of the 8-bit firmware's 15
WARMING_UP_S: Final = 1.0
HELD_SHARE: Final = 0.5  # of what is in flight; what it does not hold yet is on the cable


class Cause(Enum):
    """Why the planner ran short of lines."""

    CONTROLLER = "controller"  # it holds lines that it has not read
    COMPUTER = "computer"  # this program looked too late
    CABLE = "cable"  # what was sent has not arrived, or its answers have not


@dataclass(frozen=True, slots=True)
class Supply:
    """The state of the stream at a report.

    `in_flight_bytes` are sent and unanswered; `held_bytes` of them are in the controller, None
    where it does not say.
    """

    was_late: bool  # nobody looked for a while just before
    in_flight_bytes: int
    held_bytes: int | None

    @property
    def cause(self) -> Cause:
        """What kept the planner from filling up."""
        if self.was_late:
            return Cause.COMPUTER
        if self.held_bytes is not None and self.held_bytes < HELD_SHARE * self.in_flight_bytes:
            return Cause.CABLE
        return Cause.CONTROLLER


@dataclass(slots=True)
class Starvation:
    """Counts reports in motion with a planner that is not full although lines are left.

    `planner_blocks` is None where the controller did not say: then nothing can be counted.
    """

    planner_blocks: int | None
    reports: dict[Cause, int] = field(default_factory=lambda: dict.fromkeys(Cause, 0))
    _slowed_feeds_mm_per_min: list[float] = field(default_factory=list)

    def note_report(
        self, report: StatusReported, supply: Supply, *, elapsed_s: float, is_fed: bool
    ) -> None:
        """Count `report`; just after a start and with no line left an empty planner is expected."""
        free_blocks = report.planner_free_blocks
        if self.planner_blocks is None or free_blocks is None or is_fed:
            return
        if report.state != "Run" or elapsed_s <= WARMING_UP_S:
            return
        if free_blocks <= self.planner_blocks // FREE_SHARE:
            return
        self.reports[supply.cause] += 1
        if supply.cause is Cause.CONTROLLER and report.feed_mm_per_min:
            self._slowed_feeds_mm_per_min.append(report.feed_mm_per_min)

    @property
    def slowed_feed_mm_per_min(self) -> float | None:
        """The mean feed shown while the controller held lines that it had not read."""
        feeds = self._slowed_feeds_mm_per_min
        return sum(feeds) / len(feeds) if feeds else None
