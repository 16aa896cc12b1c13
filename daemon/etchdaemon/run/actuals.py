"""What was really run in each row while the beam was on."""

from dataclasses import dataclass, field
from typing import Final

from etchdaemon.controller.events import StatusReported
from etchwire.calls.history import RunRow

FEWEST_SAMPLES: Final = 5
LONGEST_WEIGHT_S: Final = 0.5  # a sample after a pause of ours does not speak for the pause
FIRST_WEIGHT_S: Final = 0.2  # nothing came before it; reports come five a second
SLOW_SHARE: Final = 0.05


@dataclass(slots=True)
class TimeWeightedMean:
    """The mean of values by how long each lasted, with the least and the greatest."""

    weight_s: float = 0.0
    sum: float = 0.0
    least: float | None = None
    most: float | None = None

    def add(self, value: float, weight_s: float) -> None:
        """Count `value` as having lasted `weight_s`."""
        self.weight_s += weight_s
        self.sum += value * weight_s
        self.least = value if self.least is None else min(self.least, value)
        self.most = value if self.most is None else max(self.most, value)

    @property
    def mean(self) -> float | None:
        """The mean so far; None before the first value."""
        return self.sum / self.weight_s if self.weight_s else None


@dataclass(slots=True)
class Meter:
    """Turns status reports into what was run in each row, and counts the slow rows.

    A report shows the feed and power last prepared; with dynamic power that power is already
    scaled with the speed. `max_s` is the S word of full power.
    """

    max_s: float
    recipe_feed_mm_per_min: float
    slow_rows: int = 0
    _samples: int = 0
    _feed: TimeWeightedMean = field(default_factory=TimeWeightedMean)
    _power: TimeWeightedMean = field(default_factory=TimeWeightedMean)
    _last_at_s: float | None = None

    def note_report(self, report: StatusReported, now_s: float) -> None:
        """Count `report` for the row in work, if the beam is on and the head moves."""
        since_s = 0.0 if self._last_at_s is None else now_s - self._last_at_s
        weight_s = min(since_s, LONGEST_WEIGHT_S) or FIRST_WEIGHT_S
        self._last_at_s = now_s
        feed, power = report.feed_mm_per_min, report.power_setting
        if report.state != "Run" or not power or feed is None:
            return
        self._samples += 1
        self._feed.add(feed, weight_s)
        self._power.add(power / self.max_s, weight_s)

    def finish_row(self, row: int, *, at_s: float) -> RunRow:
        """Return what was run since the last row, and begin the next one."""
        feed, power, samples = self._feed, self._power, self._samples
        self._feed, self._power, self._samples = TimeWeightedMean(), TimeWeightedMean(), 0
        if feed.mean is not None:
            self.slow_rows += feed.mean < self.recipe_feed_mm_per_min * (1 - SLOW_SHARE)
        return RunRow(
            row=row,
            samples=samples,
            is_estimated=samples < FEWEST_SAMPLES,
            feed_mean_mm_per_min=feed.mean,
            feed_min_mm_per_min=feed.least,
            feed_max_mm_per_min=feed.most,
            power_mean_ratio=power.mean,
            power_min_ratio=power.least,
            power_max_ratio=power.most,
            at_s=at_s,
        )
