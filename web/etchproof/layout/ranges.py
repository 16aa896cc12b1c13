"""Where to look first: the speeds and powers that a power card covers, by rated optical watts.

The table and the known good settings are common practice, no source. Good settings of the three
ratings lie on speed ∝ delivered power^1.9; for other ratings that law is a guess, and says so.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from etchproof.errors import UnfitCard
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, SECONDS_PER_MINUTE, Head


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Speeds and powers from the lowest to the highest, and why they are so."""

    low_feed_mm_per_min: float
    high_feed_mm_per_min: float
    low_power_ratio: float
    high_power_ratio: float
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a range that no laser has, or that runs backwards, naming it."""
        low, high = self.low_feed_mm_per_min, self.high_feed_mm_per_min
        if not 0 < low < high < float("inf"):
            raise UnfitCard(
                f"the speeds {low:g} to {high:g} mm/min are no range: give the slower one first, "
                "above zero"
            )
        low, high = self.low_power_ratio * 100, self.high_power_ratio * 100
        if not 0 < low < high:
            raise UnfitCard(
                f"the powers {low:g} to {high:g} % are no range: give the lower one first, above "
                "zero"
            )
        if high > 100 * (1 + 1e-9):
            raise UnfitCard(f"power {high:g} % is more than the laser has; 100 % is all of it")

    def feeds(self, steps: int) -> tuple[float, ...]:
        """Return `steps` speeds, each faster than the one before in the same proportion."""
        return _rounded(np.geomspace(self.low_feed_mm_per_min, self.high_feed_mm_per_min, steps))

    def powers(self, steps: int) -> tuple[float, ...]:
        """Return `steps` powers, evenly spaced, in whole per cent where that tells them apart."""
        spaced = np.linspace(self.low_power_ratio, self.high_power_ratio, steps).tolist()
        whole = tuple(round(power, 2) for power in spaced)
        if len(set(whole)) == steps:
            return whole
        return tuple(round(power, 3) for power in spaced)


@dataclass(frozen=True, slots=True)
class GoodSetting:
    """A setting that people with lasers of this rating commonly use on white-painted tile."""

    rated_optical_w: float
    feed_mm_per_min: float
    power_ratio: float

    @property
    def power_w(self) -> float:
        """The optical power that reaches the tile."""
        return self.rated_optical_w * self.power_ratio


GOOD_SETTINGS: Final = (  # common practice, no source; each at 0.1 mm between lines
    GoodSetting(20.0, 4000.0, 0.60),
    GoodSetting(10.0, 2400.0, 0.90),
    GoodSetting(5.0, 500.0, 0.80),
)

STARTING_RANGES: Final[Mapping[float, Range]] = {  # common practice, no source
    20.0: Range(
        low_feed_mm_per_min=3000, high_feed_mm_per_min=8000,
        low_power_ratio=0.50, high_power_ratio=1.0,
    ),
    10.0: Range(
        low_feed_mm_per_min=1000, high_feed_mm_per_min=5000,
        low_power_ratio=0.50, high_power_ratio=1.0,
    ),
    5.0: Range(
        low_feed_mm_per_min=250, high_feed_mm_per_min=1250,
        low_power_ratio=0.15, high_power_ratio=1.0,
    ),
}  # fmt: skip

GOOD_SPACING_MM: Final = 0.1
FASTEST_KNOWN_MM_PER_MIN: Final = 8000.0  # of the table: beyond it nobody's settings are known

SPEED_SPAN: Final = 2.0  # from slow to fast on a card whose powers tell the rest (our choice)

SAME_RATING: Final = 0.05  # ratings this near are the table's own
GUESSED_POWERS: Final = (0.50, 1.0)
LEAST_POWER_RATIO: Final = 0.02  # a diode below its threshold gives no beam worth the name


def power_law() -> tuple[float, float]:
    """Return (factor, exponent) of speed = factor × watts^exponent through the good settings.

    Least squares on logarithms; mm/min and optical watts at the tile.
    """
    watts = np.log([setting.power_w for setting in GOOD_SETTINGS])
    feeds = np.log([setting.feed_mm_per_min for setting in GOOD_SETTINGS])
    exponent, intercept = np.polyfit(watts, feeds, 1)
    return float(np.exp(intercept)), float(exponent)


def good_feed_mm_per_min(power_w: float) -> float:
    """Return the speed at which `power_w` of optical watts should do well, by the law."""
    factor, exponent = power_law()
    return float(factor * power_w**exponent)


def starting_range(head: Head, reach_mm_per_min: float) -> Range:
    """Return what the first card of `head` should cover, given how fast its photos can run."""
    return within_reach(_commonly_used(head.rated_optical_w), head, reach_mm_per_min)


def within_reach(wanted: Range, head: Head, reach_mm_per_min: float) -> Range:
    """Return `wanted`, brought down where it goes beyond what a photo can run on `head`.

    The card shows the same darknesses: lower power rather than impossible speed.
    """
    top = wanted.high_feed_mm_per_min
    if top <= reach_mm_per_min:
        return wanted
    note = (
        f"{wanted.low_feed_mm_per_min:.0f} to {top:.0f} mm/min were wanted, but photos on "
        f"{head.name} reach only {reach_mm_per_min:.0f} mm/min, so the card has lower speeds and, "
        "to match, lower powers."
    )
    return replace(slowed_to(wanted, reach_mm_per_min), notes=(*wanted.notes, note))


def _commonly_used(rated_optical_w: float) -> Range:
    for rating, usual in STARTING_RANGES.items():
        if abs(rated_optical_w / rating - 1) <= SAME_RATING:
            return usual
    low, high = GUESSED_POWERS
    slow, fast = (good_feed_mm_per_min(rated_optical_w * ratio) for ratio in GUESSED_POWERS)
    times = max(1.0, feed_of_most_dose_mm_per_min(rated_optical_w, GOOD_SPACING_MM) / slow)
    guess = Range(
        low_feed_mm_per_min=slow * times,
        high_feed_mm_per_min=fast * times,
        low_power_ratio=low,
        high_power_ratio=high,
        notes=(
            f"For {rated_optical_w:g} W of light nobody's settings are known to us: this range is "
            "a guess from lasers of 5, 10 and 20 W.",
        ),
    )
    return slowed_to(guess, FASTEST_KNOWN_MM_PER_MIN)


def feed_of_most_dose_mm_per_min(power_w: float, line_spacing_mm: float) -> float:
    """Return the speed at which a power gives the most dose that any surface needs."""
    return power_w * SECONDS_PER_MINUTE / (MOST_DOSE_J_PER_MM2 * line_spacing_mm)


def slowed_to(wanted: Range, top_mm_per_min: float) -> Range:
    """Return `wanted` with no speed above `top_mm_per_min` and powers that are as dark there.

    Speeds come down no further than the darkest needs: patches at half of the top speed tell as
    much as slower ones with less power, and take less time. Powers follow by the law.
    """
    low, high = wanted.low_feed_mm_per_min, wanted.high_feed_mm_per_min
    if high <= top_mm_per_min:
        return wanted
    share = top_mm_per_min / high
    low_share = max(share, min(1.0, top_mm_per_min / SPEED_SPAN / low))
    return replace(
        wanted,
        low_feed_mm_per_min=low * low_share,
        high_feed_mm_per_min=top_mm_per_min,
        low_power_ratio=max(LEAST_POWER_RATIO, _power_as_dark(wanted.low_power_ratio, share)),
        high_power_ratio=_power_as_dark(wanted.high_power_ratio, low_share),
    )


def _power_as_dark(power_ratio: float, speed_share: float) -> float:
    """Return the power that is as dark at a share of the speed, by the law."""
    return float(power_ratio * speed_share ** (1 / power_law()[1]))


def _rounded(feeds: np.ndarray) -> tuple[float, ...]:
    """Return speeds in three digits, which are short on a label and short in a file."""
    return tuple(float(f"{feed:.3g}") for feed in feeds)
