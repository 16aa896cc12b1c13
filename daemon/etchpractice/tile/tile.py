"""The tile under the head: what light fell on it, and what it looks like."""

import copy
from dataclasses import dataclass, replace
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchpractice.motion.track import Strokes
from etchpractice.tile.exposure import CELL_MM, Exposure
from etchpractice.tile.imperfections import NONE, Imperfections, spot_growth
from etchpractice.tile.surface import Surface
from etchwire.storing import write_whole

Rectangle = tuple[float, float, float, float]  # left, bottom, right, top: mm on the bed
Floats = NDArray[np.float32]

MARGIN_MM: Final = 1.0
_NOISE_NODES: Final = 256
_BLANK: Final = (0.0, 0.0, 10.0, 10.0)  # what is shown of a tile nothing was burnt on
_MOST_CELLS: Final = 400_000_000
_FOCUS_STEPS: Final = 6  # blurs between which a tile that is not flat is interpolated


class PictureTooLarge(ValueError):
    """More of the tile was asked for than fits in memory."""


@dataclass(frozen=True, slots=True)
class _Cells:
    """A rectangle in cells from the bed's corner: first column, lowest row, and how many."""

    first: int
    low: int
    columns: int
    rows: int


def _cells(rectangle: Rectangle) -> _Cells:
    left, bottom, right, top = (round(edge / CELL_MM) for edge in rectangle)
    columns, rows = right - left, top - bottom
    if columns <= 0 or rows <= 0 or columns * rows > _MOST_CELLS:
        raise PictureTooLarge(f"a picture of {columns} by {rows} cells cannot be made")
    return _Cells(left, bottom, columns, rows)


class Tile:
    """Gathers light and shows the surface's answer.

    `rectangle` is the tile's place on the bed; without one the tile is wherever it was burnt.
    """

    def __init__(  # noqa: PLR0913 - one keyword for each thing to be chosen
        self,
        surface: Surface,
        *,
        rated_optical_w: float,
        spot_x_mm: float,
        spot_y_mm: float,
        levels: int,
        rectangle: Rectangle | None = None,
        seed: int = 1,
        imperfections: Imperfections = NONE,
    ) -> None:
        self.surface = surface
        self.imperfections = self._usual = imperfections
        self.rectangle = rectangle
        self.exposure = Exposure()
        self._watts_per_level = rated_optical_w / levels
        self._spot_mm = (spot_x_mm, spot_y_mm)
        nodes = np.random.default_rng(seed).standard_normal((_NOISE_NODES, _NOISE_NODES))
        self._noise = nodes.astype(np.float32)

    def copy(self) -> "Tile":
        """Return the tile as it is now, to be looked at while this one goes on."""
        twin = copy.copy(self)
        twin.exposure = copy.deepcopy(self.exposure)
        return twin

    def expose(self, strokes: Strokes) -> None:
        """Let light fall on the tile."""
        worth_w = self.surface.effective_w(strokes.level * self._watts_per_level)
        self.exposure.add(strokes, worth_w * strokes.lasts_s)

    def lay_anew(self, *, tilt_mm_per_mm: float = 0.0, in_focus_at_mm: float = 0.0) -> None:
        """Be a tile of the same kind on which no light has fallen.

        Tilted on purpose, it rises along x, and lies where a flat one would at `in_focus_at_mm`.
        """
        self.exposure = Exposure()
        usual = self._usual
        self.imperfections = replace(
            usual,
            tilt_mm_per_mm=usual.tilt_mm_per_mm + tilt_mm_per_mm,
            defocus_mm=usual.defocus_mm - tilt_mm_per_mm * in_focus_at_mm,
        )

    def shown_mm(self) -> Rectangle:
        """Return what a picture shows when nothing else is asked for."""
        if self.rectangle is not None:
            return self.rectangle
        bounds = self.exposure.bounds_mm
        if bounds is None:
            return _BLANK
        left, bottom, right, top = bounds
        return left - MARGIN_MM, bottom - MARGIN_MM, right + MARGIN_MM, top + MARGIN_MM

    def exposure_j_per_mm2(self, rectangle: Rectangle | None = None) -> Floats:
        """Return the exposure the surface felt, cell by cell; row 0 is the lowest."""
        cells = _cells(rectangle or self.shown_mm())
        felt = self._spread(cells)
        uneven = 1 + self.surface.unevenness * self._field(cells, self.surface.unevenness_scale_mm)
        exposure: Floats = felt * np.maximum(uneven, np.float32(0.1))
        return exposure

    def _spread(self, cells: _Cells) -> Floats:
        """Return the light as spot and heat spread it, in J/mm²."""
        if self.imperfections.is_in_focus:
            return self._spread_alike(cells, 0.0)
        middles = (
            np.arange(count, dtype=np.float32) + 0.5 for count in (cells.columns, cells.rows)
        )
        x_mm, y_mm = (
            (start + middle) * np.float32(CELL_MM)
            for start, middle in zip((cells.first, cells.low), middles, strict=True)
        )
        off_mm = np.abs(self.imperfections.off_focus_mm(x_mm, y_mm))
        steps = np.linspace(float(off_mm.min()), float(off_mm.max()) + 1e-6, _FOCUS_STEPS)
        width = steps[1] - steps[0]
        felt = np.zeros_like(off_mm)
        for step in steps:
            felt += np.maximum(0, 1 - np.abs(off_mm - step) / width) * self._spread_alike(
                cells, step
            )
        return felt

    def _spread_alike(self, cells: _Cells, off_focus_mm: float) -> Floats:
        """Return the light as it spreads where all is so far off focus."""
        growth = spot_growth(off_focus_mm)
        across, up = (
            # An evenly lit spot of width w has the variance w²/12; heat spreads on from there.
            float(np.sqrt((spot * growth) ** 2 / 12 + self.surface.heat_spread_mm**2)) / CELL_MM
            for spot in self._spot_mm
        )
        reach = int(np.ceil(4 * max(across, up)))
        light = self.exposure.window(
            cells.first - reach, cells.low - reach,
            cells.columns + 2 * reach, cells.rows + 2 * reach,
        )  # fmt: skip
        light *= 1 / CELL_MM**2
        size = (2 * reach + 1, 2 * reach + 1)
        spread = np.asarray(cv2.GaussianBlur(light, size, sigmaX=across, sigmaY=up), np.float32)
        return spread[reach : reach + cells.rows, reach : reach + cells.columns]

    def _field(self, cells: _Cells, scale_mm: float) -> Floats:
        """Return noise that belongs to the tile's places and varies over `scale_mm`."""
        per_cell = CELL_MM / scale_mm
        shape = cells.rows, cells.columns
        x = np.arange(cells.first, cells.first + cells.columns, dtype=np.float32)
        y = np.arange(cells.low, cells.low + cells.rows, dtype=np.float32)
        noise = cv2.remap(
            np.pad(self._noise, ((0, 1), (0, 1)), mode="wrap"),
            np.broadcast_to(x * per_cell % _NOISE_NODES, shape).copy(),
            np.broadcast_to((y * per_cell % _NOISE_NODES)[:, None], shape).copy(),
            cv2.INTER_LINEAR,
        )
        return np.asarray(noise, np.float32)

    def reflectance(
        self, *, wiped: bool = True, mm_per_px: float = 0.1, rectangle: Rectangle | None = None
    ) -> Floats:
        """Return the linear reflectance of the tile as the eye sees it; row 0 is the top.

        Pixels average the cells they cover, as a camera would.
        """
        window_mm = rectangle or self.shown_mm()
        felt, cells = self.exposure_j_per_mm2(window_mm), _cells(window_mm)
        if wiped:
            field = partial(self._field, cells)
            seen = self.imperfections.wiped(self.surface, felt, field)
        else:
            seen = self.surface.unwiped(felt)
        columns = max(1, round((window_mm[2] - window_mm[0]) / mm_per_px))
        rows = max(1, round((window_mm[3] - window_mm[1]) / mm_per_px))
        method = cv2.INTER_AREA if mm_per_px > CELL_MM else cv2.INTER_LINEAR
        picture = cv2.resize(seen, (columns, rows), interpolation=method)
        return np.asarray(picture, np.float32)[::-1]

    def save_picture(
        self,
        path: Path,
        *,
        wiped: bool = True,
        mm_per_px: float = 0.05,
        rectangle: Rectangle | None = None,
    ) -> None:
        """Write the tile as a greyscale PNG, encoded as sRGB."""
        linear = self.reflectance(wiped=wiped, mm_per_px=mm_per_px, rectangle=rectangle)
        coded = np.where(
            linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055
        )
        levels = np.clip(np.rint(coded * 255), 0, 255).astype(np.uint8)
        drawn = BytesIO()
        Image.fromarray(levels).save(drawn, format="PNG")
        write_whole(path, drawn.getvalue())
