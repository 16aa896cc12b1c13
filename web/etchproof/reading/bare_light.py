"""The light on the card, from its bare tile: what a patch would send back if it were bare.

Every part of the card that is not etched has the same colour, so what it sends back is the light
that falls there. A smooth surface through all of it catches what changes across the card, and a
plane through each patch's own surroundings what is left; both in the logarithm, because light
falls off by factors.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Self

import cv2
import numpy as np
from numpy.typing import NDArray

from etchproof.card import Area, Card
from etchproof.layout.drawing import draw_card
from etchproof.reading.rectification import Rectified

Floats = NDArray[np.floating[Any]]

CELL_MM: Final = 0.5
KEEP_OFF_MM: Final = 0.6  # of anything etched: blur, the lens, and a soft edge
ROUND_MM: Final = 3.0  # how far a patch's own surroundings reach
LEAST_CELLS: Final = 8
OUTLIER: Final = 3.0  # times the usual scatter: dirt or glare, not light
FLOOR: Final = 1e-4
_FITS: Final = 3


@dataclass(frozen=True, slots=True)
class BareLight:
    """Bare tile as cells of `CELL_MM`: their middles in mm, their light, and what the fit says.

    `deviations` is how far each is from the smooth light, as a logarithm.
    """

    x_mm: Floats
    y_mm: Floats
    log_light: Floats
    coefficients: Floats
    deviations: Floats

    @classmethod
    def of_card(cls, seen: Rectified, card: Card) -> Self:
        """Look at all the bare tile of `card`."""
        rows, columns = round(card.height_mm / CELL_MM), round(card.width_mm / CELL_MM)
        cells = cv2.resize(seen.light, (columns, rows), interpolation=cv2.INTER_AREA)
        is_bare = _bare_cells(card, rows, columns) & np.isfinite(cells)
        row, column = np.nonzero(is_bare)
        x_mm = (column + 0.5) * card.width_mm / columns
        y_mm = (row + 0.5) * card.height_mm / rows
        log_light = np.log(np.maximum(cells[is_bare].astype(np.float64), FLOOR))
        terms = _terms(x_mm, y_mm)
        coefficients = _fitted(terms, log_light)
        return cls(x_mm, y_mm, log_light, coefficients, log_light - terms @ coefficients)

    def smooth_log_light(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Return the logarithm of the light at these places, smooth over the whole card."""
        light: Floats = _terms(x_mm, y_mm) @ self.coefficients
        return light

    @property
    def ratio(self) -> float:
        """The brightest bare tile over the darkest, by the smooth light."""
        smooth = self.smooth_log_light(self.x_mm, self.y_mm)
        return float(np.exp(np.ptp(smooth)))

    def around(self, area: Area, spacing_mm: float) -> NDArray[np.bool_]:
        """Return which cells are the surroundings of `area`."""
        left, right = area.left * spacing_mm - ROUND_MM, area.right * spacing_mm + ROUND_MM
        top, bottom = area.top * spacing_mm - ROUND_MM, area.bottom * spacing_mm + ROUND_MM
        here: NDArray[np.bool_] = (
            (self.x_mm > left) & (self.x_mm < right) & (self.y_mm > top) & (self.y_mm < bottom)
        )
        return here

    def at(self, area: Area, x_mm: Floats, y_mm: Floats, spacing_mm: float) -> Floats:
        """Return the light, as bare tile would show it, at places inside `area`."""
        light: Floats = self.smooth_log_light(x_mm, y_mm)
        here = self.around(area, spacing_mm)
        if here.sum() >= LEAST_CELLS:
            middle = self.x_mm[here].mean(), self.y_mm[here].mean()

            def plane(x: Floats, y: Floats) -> Floats:
                return np.column_stack([np.ones(len(x)), x - middle[0], y - middle[1]])

            own = _fitted(plane(self.x_mm[here], self.y_mm[here]), self.deviations[here])
            light = light + plane(x_mm, y_mm) @ own
        return np.exp(light)


@lru_cache(maxsize=2)
def _bare_cells(card: Card, rows: int, columns: int) -> NDArray[np.bool_]:
    """Return which cells of a card are bare: kept for its next photo, and not to be written to."""
    keep_off = max(1, round(KEEP_OFF_MM / card.spacing_mm))
    etched = draw_card(card).astype(np.uint8)
    away = cv2.distanceTransform(1 - etched, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    near = (away <= keep_off).astype(np.float32)
    share = cv2.resize(near, (columns, rows), interpolation=cv2.INTER_AREA)
    bare: NDArray[np.bool_] = share <= 0
    bare.setflags(write=False)
    return bare


def _terms(x_mm: Floats, y_mm: Floats) -> Floats:
    x, y = x_mm / 100, y_mm / 100  # numbers near one keep the fit well conditioned
    return np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y])


def _fitted(terms: Floats, values: Floats) -> Floats:
    """Return least-squares coefficients, found again without the values that are far off."""
    kept = np.ones(len(values), dtype=np.bool_)
    coefficients: Floats = np.zeros(terms.shape[1])
    for _ in range(_FITS):
        coefficients = np.linalg.lstsq(terms[kept], values[kept], rcond=None)[0]
        off = np.abs(values - terms @ coefficients)
        usual = 1.4826 * float(np.median(off[kept])) + 1e-6
        before, kept = kept, off < OUTLIER * usual
        if kept.sum() < terms.shape[1] or np.array_equal(kept, before):
            break
    return coefficients
