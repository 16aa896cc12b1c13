"""What is wrong with a wiped tile, in words, beside one on which nothing went wrong."""

from collections.abc import Callable, Mapping
from copy import copy
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpractice.tile.imperfections import NONE
from etchpractice.tile.tile import Rectangle, Tile

Floats = NDArray[np.floating[Any]]

PIECE_MM: Final = 1.0
_SEEN: Final = 2.0  # L*: a difference that is seen side by side (common practice, no source)
_END_SHARE: Final = 4  # the first and the last quarter of the rows
_STEADY: Final = 0.9  # correlation of lightness with the row: blotches are not steady


def what_is_wrong(tile: Tile, rectangle: Rectangle) -> list[str]:
    """Return the words that fit an even grey within `rectangle`, none where all is well."""
    flawless = copy(tile)
    flawless.imperfections = NONE
    seen, good = (
        _lightness(one.reflectance(mm_per_px=PIECE_MM, rectangle=rectangle))
        for one in (tile, flawless)
    )
    return [word for word, is_so in _WORDS.items() if is_so(seen, good)]


def _fades(seen: Floats, _good: Floats) -> bool:
    by_row = seen.mean(axis=1)
    rows = max(1, len(by_row) // _END_SHARE)
    steadily = float(np.corrcoef(np.arange(len(by_row)), by_row)[0, 1]) if len(by_row) > 2 else 0.0
    return steadily > _STEADY and float((by_row[-rows:] - by_row[:rows]).mean()) > _SEEN


_WORDS: Final[Mapping[str, Callable[[Floats, Floats], bool]]] = {
    "lighter": lambda seen, good: float((seen - good).mean()) > _SEEN,
    "darker": lambda seen, good: float((seen - good).mean()) < -_SEEN,
    "uneven": lambda seen, good: float((seen - good).std()) > _SEEN,
    "paler towards the end": _fades,
}


def _lightness(luminance: Floats) -> Floats:
    """Return CIE 1976 L* (ISO 11664-4:2008), white being 1."""
    cube = 116 * np.cbrt(luminance) - 16
    return np.where(luminance > (6 / 29) ** 3, cube, (29 / 3) ** 3 * luminance)
