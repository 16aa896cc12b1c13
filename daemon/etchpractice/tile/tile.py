"""The tile under the head: what light fell on it, and what it looks like."""

import copy
from io import BytesIO
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchpractice.motion.track import Strokes
from etchpractice.tile.exposure import CELL_MM, Exposure
from etchpractice.tile.surface import Surface
from etchwire.storing import write_whole

Rectangle = tuple[float, float, float, float]  # left, bottom, right, top: mm on the bed
Floats = NDArray[np.float32]

MARGIN_MM: Final = 1.0
_NOISE_NODES: Final = 256
_BLANK: Final = (0.0, 0.0, 10.0, 10.0)  # what is shown of a tile nothing was burnt on
_MOST_CELLS: Final = 400_000_000


class PictureTooLarge(ValueError):
    """More of the tile was asked for than fits in memory."""


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
    ) -> None:
        self.surface = surface
        self.rectangle = rectangle
        self.exposure = Exposure()
        self._watts_per_level = rated_optical_w / levels
        self._spread_mm = tuple(
            # An evenly lit spot of width w has the variance w²/12; heat spreads on from there.
            float(np.sqrt(spot**2 / 12 + surface.heat_spread_mm**2))
            for spot in (spot_x_mm, spot_y_mm)
        )
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

    def lay_anew(self) -> None:
        """Be a tile of the same kind on which no light has fallen."""
        self.exposure = Exposure()

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
        left, bottom, right, top = rectangle or self.shown_mm()
        reach = int(np.ceil(4 * max(self._spread_mm) / CELL_MM))
        first, low = round(left / CELL_MM), round(bottom / CELL_MM)
        columns, rows = round(right / CELL_MM) - first, round(top / CELL_MM) - low
        if columns <= 0 or rows <= 0 or columns * rows > _MOST_CELLS:
            raise PictureTooLarge(f"a picture of {columns} by {rows} cells cannot be made")
        cells = self.exposure.window(
            first - reach, low - reach, columns + 2 * reach, rows + 2 * reach
        )
        cells *= 1 / CELL_MM**2
        size = (2 * reach + 1, 2 * reach + 1)
        across, up = (spread / CELL_MM for spread in self._spread_mm)
        spread = np.asarray(cv2.GaussianBlur(cells, size, sigmaX=across, sigmaY=up), np.float32)
        felt = spread[reach : reach + rows, reach : reach + columns]
        exposure: Floats = felt * self._sensitivity(first, low, columns, rows)
        return exposure

    def _sensitivity(self, first: int, low: int, columns: int, rows: int) -> Floats:
        """Return how much the coat favours or hinders at each cell: 1 on the whole."""
        per_cell = CELL_MM / self.surface.unevenness_scale_mm
        x = (np.arange(first, first + columns, dtype=np.float32) * per_cell) % _NOISE_NODES
        y = (np.arange(low, low + rows, dtype=np.float32) * per_cell) % _NOISE_NODES
        noise = cv2.remap(
            np.pad(self._noise, ((0, 1), (0, 1)), mode="wrap"),
            np.broadcast_to(x, (rows, columns)).copy(),
            np.broadcast_to(y[:, None], (rows, columns)).copy(),
            cv2.INTER_LINEAR,
        )
        uneven = 1 + self.surface.unevenness * np.asarray(noise, np.float32)
        bounded: Floats = np.maximum(uneven, np.float32(0.1))
        return bounded

    def reflectance(
        self, *, wiped: bool = True, mm_per_px: float = 0.1, rectangle: Rectangle | None = None
    ) -> Floats:
        """Return the linear reflectance of the tile as the eye sees it; row 0 is the top.

        Pixels average the cells they cover, as a camera would.
        """
        shown = rectangle or self.shown_mm()
        felt = self.exposure_j_per_mm2(shown)
        seen = self.surface.wiped(felt) if wiped else self.surface.unwiped(felt)
        columns = max(1, round((shown[2] - shown[0]) / mm_per_px))
        rows = max(1, round((shown[3] - shown[1]) / mm_per_px))
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
