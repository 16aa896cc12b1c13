"""Sharpness: how wide a step from dark to bare looks, at the outer edges of the markers."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchproof.card import Area, Card
from etchproof.reading.rectification import Rectified

REACH_MM: Final = 0.9  # each way from the edge: less than a module of the border
LOW, HIGH = 0.2, 0.8
SIGMAS: Final = 1.6832  # a blurred edge rises from a fifth to four fifths within so many sigmas

Profile = NDArray[np.float64]


def blur_mm(seen: Rectified, card: Card) -> float:
    """Return the blur, as the sigma of a Gaussian in mm on the card: the median of all edges."""
    widths = [
        _width(profile)
        for marker in card.markers
        for profile in _edges(seen, marker.area, card.spacing_mm)
    ]
    return float(np.median(widths)) / seen.px_per_mm / SIGMAS


def _edges(seen: Rectified, area: Area, spacing_mm: float) -> list[Profile]:
    """Return the mean profiles across the four edges of a marker, from outside to inside."""
    scale = spacing_mm * seen.px_per_mm
    left, right, top, bottom = (
        side * scale for side in (area.left, area.right, area.top, area.bottom)
    )
    reach = REACH_MM * seen.px_per_mm
    quarter_x, quarter_y = (right - left) / 4, (bottom - top) / 4
    rows = slice(round(top + quarter_y), round(bottom - quarter_y))
    columns = slice(round(left + quarter_x), round(right - quarter_x))

    def span(edge: float) -> slice:
        return slice(max(0, round(edge - reach)), round(edge + reach))

    light = seen.light
    return [
        light[rows, span(left)].mean(axis=0),
        light[rows, span(right)].mean(axis=0)[::-1],
        light[span(top), columns].mean(axis=1),
        light[span(bottom), columns].mean(axis=1)[::-1],
    ]


def _width(profile: Profile) -> float:
    """Return how many pixels the profile takes to fall from four fifths to one fifth."""
    ends = max(2, len(profile) // 6)
    bright, dark = profile[:ends].mean(), profile[-ends:].mean()
    falling = np.minimum.accumulate((profile - dark) / max(bright - dark, 1e-6))
    places = np.arange(len(profile))
    at = np.interp([-HIGH, -LOW], -falling, places)
    return float(at[1] - at[0])
