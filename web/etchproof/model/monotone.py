"""Monotone curves through measured points: cubic pieces that never overshoot.

F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5, 1984: at each point the weighted harmonic
mean of the slopes beside it, and none at all where they differ in sign.
"""

from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

LEVEL: Final = 1e-200  # a slope whose reciprocal would not fit in a float is none


@dataclass(frozen=True, slots=True)
class MonotoneCurve:
    """A curve through (x, y) with the slope at each point; x rises strictly."""

    x: Floats
    y: Floats
    slopes: Floats

    @classmethod
    def through(cls, x: Floats, y: Floats) -> Self:
        """Build the curve through at least two points."""
        x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        if len(x) < 2 or len(x) != len(y) or not (np.diff(x) > 0).all():
            raise ValueError("a curve needs at least two points whose x rises")
        return cls(x, y, _slopes(np.diff(x), np.diff(y) / np.diff(x)))

    def __call__(self, at: Floats) -> Floats:
        """Return the curve's values; beyond its ends it stays as it was there."""
        at = np.clip(np.asarray(at, dtype=np.float64), self.x[0], self.x[-1])
        piece = np.clip(np.searchsorted(self.x, at, side="right") - 1, 0, len(self.x) - 2)
        width = self.x[piece + 1] - self.x[piece]
        t = (at - self.x[piece]) / width
        values: Floats = (
            (1 + 2 * t) * (1 - t) ** 2 * self.y[piece]
            + t * (1 - t) ** 2 * width * self.slopes[piece]
            + t**2 * (3 - 2 * t) * self.y[piece + 1]
            + t**2 * (t - 1) * width * self.slopes[piece + 1]
        )
        return values


def _slopes(widths: Floats, secants: Floats) -> Floats:
    if len(secants) == 1:
        return np.repeat(secants, 2)
    slopes = np.zeros(len(secants) + 1)
    left, right = secants[:-1], secants[1:]
    is_turning = (left * right <= 0) | (np.minimum(np.abs(left), np.abs(right)) < LEVEL)
    weight_left = 2 * widths[1:] + widths[:-1]
    weight_right = widths[1:] + 2 * widths[:-1]
    safe_left, safe_right = np.where(is_turning, 1, left), np.where(is_turning, 1, right)
    mean = (weight_left + weight_right) / (weight_left / safe_left + weight_right / safe_right)
    slopes[1:-1] = np.where(is_turning, 0, mean)
    slopes[0] = _end_slope(widths[:2], secants[:2])
    slopes[-1] = _end_slope(widths[:-3:-1], secants[:-3:-1])
    return slopes


def _end_slope(widths: Floats, secants: Floats) -> float:
    """Return the slope of the parabola through an end's three points, kept from overshooting."""
    slope = ((2 * widths[0] + widths[1]) * secants[0] - widths[0] * secants[1]) / widths.sum()
    if np.sign(slope) != np.sign(secants[0]):
        return 0.0
    if np.sign(secants[0]) != np.sign(secants[1]) and abs(slope) > 3 * abs(secants[0]):
        return float(3 * secants[0])
    return float(slope)


def never_falling(values: Floats) -> Floats:
    """Return the never falling series nearest to `values`: neighbours that fall are averaged.

    Pool adjacent violators (M. Ayer and others, Annals of Mathematical Statistics 26, 1955).
    """
    pools: list[tuple[float, int]] = []
    for value in np.asarray(values, dtype=np.float64).tolist():
        mean, count = value, 1
        while pools and pools[-1][0] > mean:
            before, its_count = pools.pop()
            mean = (before * its_count + mean * count) / (its_count + count)
            count += its_count
        pools.append((mean, count))
    return np.concatenate([np.full(count, mean) for mean, count in pools])
