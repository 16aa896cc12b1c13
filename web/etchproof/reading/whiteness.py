"""How much whiter one tile is than another beside it, from one photo of both.

The light changes smoothly over the two tiles, and what they reflect changes at once at the joint:
a smooth surface through the logarithm of all that is seen, with a step at the joint, tells the two
apart. What the step depends on how smooth the surface may be is the larger part of what it is
uncertain by, and is said with it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchphoto.light import lightness, luminance_of_lightness
from etchproof.errors import PhotoRefused

USUAL_WHITE: Final = 95.0  # L* of the older tile: our choice; 5 off changes a difference by 5 %
_CELLS: Final = 160  # along the photo's longer side
_EDGE: Final = 0.08  # of the photo: what lies round the tiles, and a lens's corners
_JOINT: Final = 0.05  # of the width to either side of the middle: joint and rounded edges
_BANDS: Final = (0.42, 0.27)  # how far from the middle is looked, in shares of the width
_OUTLIER: Final = 3.0  # times the usual scatter: dirt, dots, glare
_LEAST: Final = 0.3  # L*: a camera's own unevenness, our choice
_LARGEST: Final = 40.0  # L*: more is no tile beside another
_TOO_UNEVEN: Final = 4.0  # L*, give or take

Light = NDArray[np.float32]
Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class WhiteDifference:
    """By how much the right tile is lighter than the left one, in L*, give or take so much."""

    lightness: float
    give_or_take: float


def compare_whites(light: Light, *, left_lightness: float = USUAL_WHITE) -> WhiteDifference:
    """Compare the tiles in the left and the right half of a photo, which their joint parts.

    `light` is the photo's, 0 to 1. Raise PhotoRefused where the light is too uneven to tell.
    """
    scale = _CELLS / max(light.shape)
    size = round(light.shape[1] * scale), round(light.shape[0] * scale)
    cells = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    steps = np.array(list(_steps(np.log(np.maximum(cells.astype(np.float64), 1e-4)))))
    white = float(luminance_of_lightness(np.asarray(left_lightness)))
    found = lightness(white * np.exp(steps)) - left_lightness
    difference = WhiteDifference(float(found.mean()), float(max(_LEAST, np.ptp(found))))
    if difference.give_or_take > _TOO_UNEVEN or abs(difference.lightness) > _LARGEST:
        raise PhotoRefused(
            "uneven-light",
            "the two tiles cannot be told from the light on them: lay them edge to edge, fill the "
            "picture with both, the joint upright in its middle, away from lamps and windows",
        )
    return difference


def difference_words(found: WhiteDifference) -> str:
    """Return the difference as a sentence."""
    figure = f"{abs(found.lightness):.1f} L*, give or take {found.give_or_take:.1f}"
    if abs(found.lightness) <= found.give_or_take:
        return f"No difference in whiteness shows between the tiles: {figure}."
    return f"The right tile is {'lighter' if found.lightness > 0 else 'darker'} by {figure}."


def _steps(log_light: Floats) -> Iterator[float]:
    """Yield how the step at the joint comes out: looked at widely and nearby, stiff and supple."""
    rows, columns = log_light.shape
    y, x = np.mgrid[0:rows, 0:columns]
    x, y = (x + 0.5) / columns - 0.5, (y + 0.5) / rows - 0.5
    for band in _BANDS:
        seen = (np.abs(x) > _JOINT) & (np.abs(x) < band) & (np.abs(y) < 0.5 - _EDGE)
        for is_supple in (False, True):
            terms = _terms(x[seen], y[seen], is_supple=is_supple)
            yield _fitted(terms, log_light[seen])


def _terms(x: Floats, y: Floats, *, is_supple: bool) -> Floats:
    columns = [np.where(x > 0, 1.0, 0.0), np.ones(len(x)), x, y, x * x, x * y, y * y]
    return np.column_stack([*columns, x**3, x * x * y, x * y * y] if is_supple else columns)


def _fitted(terms: Floats, values: Floats) -> float:
    """Return the step by least squares, found again without the values that are far off."""
    kept = np.ones(len(values), dtype=np.bool_)
    for _ in range(3):
        found = np.linalg.lstsq(terms[kept], values[kept], rcond=None)[0]
        off = np.abs(values - terms @ found)
        kept = off < _OUTLIER * (1.4826 * float(np.median(off[kept])) + 1e-6)
    return float(found[0])
