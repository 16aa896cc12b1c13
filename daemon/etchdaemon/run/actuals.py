"""What was really run in each row while the beam was on."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class RowActuals:
    """What was really run in one row while the beam was on, weighted by time."""

    row: int
    samples: int
    is_estimated: bool  # fewer than five samples
    feed_mean_mm_per_min: float | None
    feed_min_mm_per_min: float | None
    feed_max_mm_per_min: float | None
    power_mean_ratio: float | None
    power_min_ratio: float | None
    power_max_ratio: float | None
    at_s: float  # seconds since the start of the run
