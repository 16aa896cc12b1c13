"""Whether every row of an even grey is on the tile once: none missing, none burnt twice."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpractice.tile.exposure import CELL_MM
from etchpractice.tile.tile import Rectangle, Tile

PIECE_MM: Final = 1.0
LEAST, MOST = 0.5, 1.6  # of what an average piece has
SEAM_PIECES: Final = 3  # a cut's own error, and the way the head brakes


def row_light(tile: Tile, rectangle: Rectangle, *, rows: int, pieces: int) -> list[list[float]]:
    """Return the light that fell on each piece of each row, in J, the top row first.

    It is counted where it fell: heat that spreads into the next row would hide a missing one.
    """
    left, bottom, right, top = (round(edge / CELL_MM) for edge in rectangle)
    cells = tile.exposure.window(left, bottom, right - left, top - bottom)
    up = np.linspace(0, top - bottom, rows, endpoint=False).round().astype(int)
    across = np.linspace(0, right - left, pieces, endpoint=False).round().astype(int)
    light = np.add.reduceat(np.add.reduceat(cells, up, axis=0), across, axis=1)
    listed: list[list[float]] = light[::-1].astype(float).round(9).tolist()
    return listed


def amiss(light: list[list[float]]) -> str | None:
    """Return which row is missing or burnt twice, None where each is there once.

    Where a row was cut and taken up again, a short piece may have got less or more.
    """
    seen = np.asarray(light)
    usual = np.median(seen[seen > 0]) if (seen > 0).any() else 1.0
    for number, row in enumerate(seen / usual):
        if _longest(row < LEAST) > SEAM_PIECES:
            return f"row {number} is missing, or a long piece of it"
        if _longest(row > MOST) > SEAM_PIECES:
            return f"row {number} is burnt twice, or a long piece of it"
    return None


def _longest(is_so: NDArray[np.bool_]) -> int:
    """Return the length of the longest unbroken stretch."""
    longest = here = 0
    for one in is_so:
        here = here + 1 if one else 0
        longest = max(longest, here)
    return longest
