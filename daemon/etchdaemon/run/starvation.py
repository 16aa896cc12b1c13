"""Whether the planner runs dry in mid-row: then the head slows down and the picture suffers."""

from dataclasses import dataclass
from typing import Final

from etchdaemon.controller.events import StatusReported

FREE_SHARE: Final = 5  # a fifth of the planner free: 3 blocks of the 8-bit firmware's 15
WARMING_UP_S: Final = 1.0


@dataclass(slots=True)
class Starvation:
    """Counts reports of a running machine whose planner was not full though lines were left.

    `planner_blocks` is None where the controller did not say: then nothing can be counted.
    """

    planner_blocks: int | None
    reports: int = 0

    def note_report(self, report: StatusReported, *, elapsed_s: float, is_fed: bool) -> None:
        """Count `report`; just after a start, and with no line left, an empty planner is right."""
        free_blocks = report.planner_free_blocks
        if self.planner_blocks is None or free_blocks is None or is_fed:
            return
        if report.state == "Run" and elapsed_s > WARMING_UP_S:
            self.reports += free_blocks > self.planner_blocks // FREE_SHARE
