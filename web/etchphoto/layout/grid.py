"""The dots of a tile: how many, and where their middles lie in millimetres."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from etchphoto.errors import UnfitDesign
from etchphoto.framing import MAX_DOTS
from etchphoto.layout.design import Box, Tile

ROWS_AT_ONCE: Final = 256  # distances are worked out in floats: a large tile has 25 million dots

Floats: TypeAlias = NDArray[np.floating[Any]]
Window: TypeAlias = tuple[slice, slice]  # rows, columns


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """`rows` by `columns` dots, `spacing_mm` apart; row 0 is on top."""

    rows: int
    columns: int
    spacing_mm: float

    @classmethod
    def of(cls, tile: Tile, spacing_mm: float) -> "Grid":
        """Return the dots of a tile; raise UnfitDesign where one job cannot have so many."""
        rows, columns = round(tile.height_mm / spacing_mm), round(tile.width_mm / spacing_mm)
        if not 0 < rows * columns <= MAX_DOTS:
            raise UnfitDesign(
                f"a tile of {tile.width_mm:g} × {tile.height_mm:g} mm at a line spacing of "
                f"{spacing_mm:g} mm has {rows * columns} dots, and one job can have 1 to "
                f"{MAX_DOTS // 1_000_000} million"
            )
        return cls(rows=rows, columns=columns, spacing_mm=spacing_mm)

    def window(self, box: Box) -> Window:
        """Return the rows and columns that a box covers: at least one of each, all on the tile."""
        return (
            self._span(box.top_mm, box.height_mm, self.rows),
            self._span(box.left_mm, box.width_mm, self.columns),
        )

    def _span(self, from_mm: float, length_mm: float, most: int) -> slice:
        count = min(most, max(1, round(length_mm / self.spacing_mm)))
        first = min(most - count, max(0, round(from_mm / self.spacing_mm)))
        return slice(first, first + count)

    def strips(self, window: Window) -> Iterator[Window]:
        """Yield parts of `window`, few rows at a time, from the top."""
        rows, columns = window
        for first in range(rows.start, rows.stop, ROWS_AT_ONCE):
            yield slice(first, min(rows.stop, first + ROWS_AT_ONCE)), columns

    def middles_mm(self, window: Window) -> tuple[Floats, Floats]:
        """Return where the middles of a window's dots lie: x, shape (1, n), and y, (n, 1)."""
        rows, columns = window
        x_mm = (np.arange(columns.start, columns.stop) + 0.5)[np.newaxis, :] * self.spacing_mm
        y_mm = (np.arange(rows.start, rows.stop) + 0.5)[:, np.newaxis] * self.spacing_mm
        return x_mm, y_mm
