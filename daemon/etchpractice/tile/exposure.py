"""The light a tile has received, summed in small square cells."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpractice.motion.track import Strokes

Floats = NDArray[np.float64]

CELL_MM: Final = 0.025
_BAND_ROWS: Final = 128
_COLUMN_STEP: Final = 512
_DARK_J: Final = 1e-8  # what arithmetic leaves behind in a cell is less
_LEVEL_MM: Final = 1e-7  # a stroke that rises by less runs along x


class _Band:
    """Some rows of cells, as wide as was needed so far."""

    def __init__(self, first_column: int, columns: int) -> None:
        self.first = first_column
        self.cells = np.zeros((_BAND_ROWS, columns), dtype=np.float32)

    def cover(self, first: int, end: int) -> None:
        low = min(first, self.first)
        high = max(end, self.first + self.cells.shape[1])
        if (low, high) == (self.first, self.first + self.cells.shape[1]):
            return
        wider = np.zeros((_BAND_ROWS, high - low), dtype=np.float32)
        at = self.first - low
        wider[:, at : at + self.cells.shape[1]] = self.cells
        self.first, self.cells = low, wider


class Exposure:
    """A sheet of cells without borders; only where light fell is there any memory behind it.

    Cell (r, c) covers c to c + 1 and r to r + 1 cells from the bed's corner; y goes up.
    """

    def __init__(self) -> None:
        self._bands: dict[int, _Band] = {}

    @property
    def bounds_mm(self) -> tuple[float, float, float, float] | None:
        """Left, bottom, right and top of the cells that received light, None without any."""
        lit = []
        for number, band in self._bands.items():
            rows, columns = np.nonzero(band.cells > _DARK_J)
            if rows.size:
                low = number * _BAND_ROWS
                lit.append(
                    (columns.min() + band.first, rows.min() + low,
                     columns.max() + band.first + 1, rows.max() + low + 1)
                )  # fmt: skip
        if not lit:
            return None
        left, bottom, right, top = zip(*lit, strict=True)
        return (
            float(min(left)) * CELL_MM, float(min(bottom)) * CELL_MM,
            float(max(right)) * CELL_MM, float(max(top)) * CELL_MM,
        )  # fmt: skip

    def add(self, strokes: Strokes, amount: Floats) -> None:
        """Spread `amount` evenly along each stroke, exact to the cell along x."""
        if not amount.size:
            return
        along = (np.abs(strokes.y1 - strokes.y0) < _LEVEL_MM) & (strokes.x1 != strokes.x0)
        left = np.minimum(strokes.x0, strokes.x1)[along] / CELL_MM
        right = np.maximum(strokes.x0, strokes.x1)[along] / CELL_MM
        self._add_rows(left, right, strokes.y0[along] / CELL_MM, amount[along])
        if not along.all():
            self._add_slanting(strokes, amount, ~along)

    def _add_slanting(self, strokes: Strokes, amount: Floats, chosen: NDArray[np.bool_]) -> None:
        """Cut the other strokes into pieces of at most half a cell and add those as dots."""
        x0, y0 = strokes.x0[chosen] / CELL_MM, strokes.y0[chosen] / CELL_MM
        x1, y1 = strokes.x1[chosen] / CELL_MM, strokes.y1[chosen] / CELL_MM
        pieces = np.maximum(np.ceil(2 * np.hypot(x1 - x0, y1 - y0)), 1).astype(np.intp)
        which = np.repeat(np.arange(pieces.size), pieces)
        order = np.arange(which.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
        share = (order + 0.5) / pieces[which]
        x = x0[which] + (x1 - x0)[which] * share
        y = y0[which] + (y1 - y0)[which] * share
        self._add_rows(x - 0.5, x + 0.5, y, (amount[chosen] / pieces)[which])

    def _add_rows(self, left: Floats, right: Floats, y: Floats, amount: Floats) -> None:
        """Add level strokes, given in cells, shared between the two rows nearest to each."""
        row = np.floor(y - 0.5)
        upper = y - 0.5 - row
        density = amount / (right - left)
        for shift, share in ((0, 1 - upper), (1, upper)):
            rows = row.astype(np.intp) + shift
            bands = rows // _BAND_ROWS
            for number in np.unique(bands):
                here = bands == number
                self._add_to_band(
                    int(number), rows[here] - number * _BAND_ROWS,
                    (left[here], right[here]), (density * share)[here],
                )  # fmt: skip

    def _add_to_band(
        self, number: int, rows: NDArray[np.intp], ends: tuple[Floats, Floats], density: Floats
    ) -> None:
        """Write each stroke as a step up and a step down, and sum along the rows."""
        left, right = ends
        first = int(left.min() // _COLUMN_STEP) * _COLUMN_STEP
        end = (int(right.max() // _COLUMN_STEP) + 1) * _COLUMN_STEP + _COLUMN_STEP
        width = end - first
        places, steps = [], []
        for edge, height in ((left, density), (right, -density)):
            cell = np.floor(edge)
            inside = edge - cell
            place = rows * width + cell.astype(np.intp) - first
            places += [place, place + 1]
            steps += [height * (1 - inside), height * inside]
        summed = np.bincount(
            np.concatenate(places), np.concatenate(steps), minlength=_BAND_ROWS * width
        ).reshape(_BAND_ROWS, width)
        np.cumsum(summed, axis=1, out=summed)
        band = self._bands.setdefault(number, _Band(first, 0))
        band.cover(first, end)
        at = first - band.first
        band.cells[:, at : at + width] += summed.astype(np.float32)

    def window(self, left: int, bottom: int, columns: int, rows: int) -> NDArray[np.float32]:
        """Return the cells of a rectangle, given in cells; row 0 is the lowest."""
        seen = np.zeros((rows, columns), dtype=np.float32)
        for number in range(bottom // _BAND_ROWS, (bottom + rows - 1) // _BAND_ROWS + 1):
            band = self._bands.get(number)
            if band is None:
                continue
            low = number * _BAND_ROWS - bottom
            rows_from, rows_to = max(low, 0), min(low + _BAND_ROWS, rows)
            start = max(band.first - left, 0)
            stop = min(band.first + band.cells.shape[1] - left, columns)
            if start < stop:
                seen[rows_from:rows_to, start:stop] = band.cells[
                    rows_from - low : rows_to - low,
                    start + left - band.first : stop + left - band.first,
                ]
        return seen
