"""What was really run, against what the recipe asked for."""

from dataclasses import asdict, dataclass
from typing import Any

from etchdaemon.run.actuals import Meter
from etchwire.craft import Recipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Asked and run, side by side, over a whole run; None where nothing was measured."""

    feed_asked_mm_per_min: float
    feed_run_mm_per_min: float | None
    power_asked_ratio: float
    power_run_ratio: float | None
    dose_run_ratio: float | None  # run dose / asked dose
    rows_measured: int
    slow_rows: int

    def to_table(self) -> dict[str, Any]:
        """Return plain values for the logbook."""
        return asdict(self)

    def __str__(self) -> str:
        """Return the comparison as sentences."""
        asked = f"{self.feed_asked_mm_per_min:g} mm/min at {self.power_asked_ratio:.0%}"
        if self.feed_run_mm_per_min is None or self.power_run_ratio is None:
            return f"Asked for {asked}; nothing was measured while the beam was on."
        run = f"{self.feed_run_mm_per_min:.0f} mm/min at {self.power_run_ratio:.0%}"
        slow = f"{self.slow_rows} of {self.rows_measured} measured rows"
        return f"Asked for {asked}, ran {run}; {slow} were more than 5 % slower than asked."


def compare(recipe: Recipe, meter: Meter) -> Comparison:
    """Return how the run measured by `meter` compares with `recipe`."""
    feed, power = meter.run_feed.mean, meter.run_power.mean
    dose = None
    if feed and power is not None:
        dose = power / feed / (recipe.power_ratio / recipe.feed_mm_per_min)
    return Comparison(
        feed_asked_mm_per_min=recipe.feed_mm_per_min,
        feed_run_mm_per_min=feed,
        power_asked_ratio=recipe.power_ratio,
        power_run_ratio=power,
        dose_run_ratio=dose,
        rows_measured=meter.rows_measured,
        slow_rows=meter.slow_rows,
    )
