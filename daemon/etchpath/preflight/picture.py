"""The path as a picture: burnt strokes with their dose as darkness, bounds, origin, travel.

Each stroke spreads its energy along its length into pixels of equal size; darkness is the
energy in a pixel against the strongest thousandth of them, so that one hot spot does not pale
all the rest. This shows where energy goes, not how a surface answers.
"""

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Floats
from etchpath.machine import Machine
from etchpath.motion.timeline import Timed
from etchpath.preflight.report import Report
from etchwire.storing import write_whole

if TYPE_CHECKING:
    from PIL.Image import Image


LONG_SIDE_PX: Final = 1600
_MARGIN: Final = 0.03  # of the long side
_SAMPLES_PER_PX: Final = 2
_SAMPLES_AT_ONCE: Final = 500_000
_DARKEST_ABOVE: Final = 0.999
_FAINTEST: Final = 0.12  # of full darkness: what is burnt at all is to be seen
_PAPER: Final = 255
_OVERVIEW_PX: Final = 240
_TRAVEL_COLOUR: Final = (120, 140, 180)
_BOUNDS_COLOUR: Final = (220, 130, 50)
_ORIGIN_COLOUR: Final = (200, 30, 30)
_CROSS_PX: Final = 9
SCALES_MM: Final = (200, 100, 50, 20, 10, 5, 2, 1, 0.5)
_SCALE_COLOUR: Final = (20, 20, 20)
_SCALE_PX: Final = 60  # the strip that it lies in


@dataclass(frozen=True, slots=True)
class View:
    """The part of the plane that a picture shows, and its scale."""

    left_mm: float
    top_mm: float
    px_per_mm: float
    width_px: int
    height_px: int

    @classmethod
    def around(cls, box: tuple[float, float, float, float], long_side_px: int) -> Self:
        """Show `box` (left, bottom, right, top, millimetres) with a margin."""
        left, bottom, right, top = box
        margin_mm = max(right - left, top - bottom, 1.0) * _MARGIN
        width_mm, height_mm = right - left + 2 * margin_mm, top - bottom + 2 * margin_mm
        scale = (long_side_px - 1) / max(width_mm, height_mm)
        size = (int(width_mm * scale) + 1, int(height_mm * scale) + 1)
        return cls(left - margin_mm, top + margin_mm, scale, *size)

    def x_px(self, x_mm: Floats | float) -> Floats:
        """Return columns, rightwards."""
        return (np.asarray(x_mm) - self.left_mm) * self.px_per_mm

    def y_px(self, y_mm: Floats | float) -> Floats:
        """Return rows, downwards."""
        return (self.top_mm - np.asarray(y_mm)) * self.px_per_mm


class PathPicture:
    """Watches a file go by whose report is known, and adds up where the energy goes."""

    def __init__(self, report: Report) -> None:
        """Begin with white paper round everywhere the head goes."""
        bounds = report.bounds_mm or {"left_mm": 0, "bottom_mm": 0, "right_mm": 0, "top_mm": 0}
        self._bounds = tuple(
            float(bounds[side]) for side in ("left_mm", "bottom_mm", "right_mm", "top_mm")
        )
        self._machine = Machine.from_table(report.machine)
        self.view = View.around(self._box(), LONG_SIDE_PX)
        self._energy = np.zeros(self.view.width_px * self.view.height_px, dtype=np.float32)

    def see_times(self, timed: Timed) -> None:
        """Add the energy of some pieces."""
        is_on = timed.toolpath.beam_s > 0
        toolpath, seconds = timed.toolpath.part(is_on), timed.seconds[is_on]
        energy = toolpath.beam_s * timed.travel.length_mm[is_on] / toolpath.feed_mm_per_s
        energy = np.where(toolpath.is_constant_power, toolpath.beam_s * seconds, energy)
        x_px, y_px = self.view.x_px(toolpath.x_mm), self.view.y_px(toolpath.y_mm)
        dx_px, dy_px = toolpath.dx_mm * self.view.px_per_mm, -toolpath.dy_mm * self.view.px_per_mm
        length_px = np.maximum(np.abs(dx_px), np.abs(dy_px))
        counts = np.ceil(length_px * _SAMPLES_PER_PX + 1).astype(np.int64)
        first = 0
        while first < len(counts):
            sums = np.cumsum(counts[first:])
            end = first + max(1, int(np.searchsorted(sums, _SAMPLES_AT_ONCE, side="right")))
            some = slice(first, end)
            ends = np.stack((x_px[some], y_px[some], dx_px[some], dy_px[some]))
            self._spread(ends, energy[some], counts[some])
            first = end

    def save(self, path: Path) -> None:
        """Write the picture as PNG to `path`; raise OSError when it cannot be written."""
        from PIL import Image  # noqa: PLC0415 - only who wants a picture needs Pillow

        shades = Image.fromarray(self.shades()).convert("RGB")
        size = (shades.width + _OVERVIEW_PX, shades.height + _SCALE_PX)
        picture = Image.new("RGB", size, (_PAPER,) * 3)
        picture.paste(shades)
        self._mark(picture, self.view, 0)
        overview = View.around(self._box(with_travel=True), _OVERVIEW_PX)
        self._mark(picture, overview, shades.width)
        self._draw_scale(picture, shades.height + _SCALE_PX // 2)
        drawn = BytesIO()
        picture.save(drawn, format="PNG")
        write_whole(path, drawn.getvalue())

    def _draw_scale(self, picture: "Image", y_px: int) -> None:
        """Draw a length below the picture: the longest of a few that fits a third of its width."""
        from PIL import ImageDraw, ImageFont  # noqa: PLC0415

        most_mm = self.view.width_px / self.view.px_per_mm / 3
        scale_mm = next((mm for mm in SCALES_MM if mm <= most_mm), SCALES_MM[-1])
        left, right = _CROSS_PX, _CROSS_PX + round(scale_mm * self.view.px_per_mm)
        draw = ImageDraw.Draw(picture)
        draw.line((left, y_px, right, y_px), fill=_SCALE_COLOUR, width=3)
        for end in (left, right):
            draw.line((end, y_px - _CROSS_PX, end, y_px + _CROSS_PX), fill=_SCALE_COLOUR, width=3)
        font = ImageFont.load_default(_SCALE_PX // 2)
        draw.text((right + 12, y_px - _SCALE_PX // 4), f"{scale_mm:g} mm", _SCALE_COLOUR, font)

    def shades(self) -> NDArray[np.uint8]:
        """Return the strokes alone: rows from the top, 0 burnt hardest, 255 untouched."""
        burnt = self._energy > 0
        darkness = np.zeros(self._energy.shape)
        if burnt.any():
            full = float(np.quantile(self._energy[burnt], _DARKEST_ABOVE))
            darkness[burnt] = np.clip(self._energy[burnt] / full, _FAINTEST, 1.0)
        shades = np.rint(_PAPER * (1 - darkness)).astype(np.uint8)
        return shades.reshape(self.view.height_px, self.view.width_px)

    def _spread(self, ends: Floats, energy: Floats, counts: NDArray[np.int64]) -> None:
        piece = np.repeat(np.arange(len(counts)), counts)
        step = np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)
        back = (step + 0.5) / counts[piece]  # from the end of the piece towards its start
        x, y, dx, dy = ends[:, piece]
        column = np.clip(np.floor(x - dx * back), 0, self.view.width_px - 1)
        row = np.clip(np.floor(y - dy * back), 0, self.view.height_px - 1)
        place = (row * self.view.width_px + column).astype(np.int64)
        np.add.at(self._energy, place, (energy / counts)[piece].astype(np.float32))

    def _box(self, *, with_travel: bool = False) -> tuple[float, float, float, float]:
        left, bottom, right, top = self._bounds
        if not with_travel:
            return left, bottom, right, top
        travel = self._travel()
        return (
            min(left, travel[0]),
            min(bottom, travel[1]),
            max(right, travel[2]),
            max(top, travel[3]),
        )

    def _travel(self) -> tuple[float, float, float, float]:
        machine = self._machine
        reach = machine.bed.reach
        return reach.left_mm, reach.bottom_mm, reach.right_mm, reach.top_mm

    def _mark(self, picture: "Image", view: View, shift_px: int) -> None:
        """Draw travel, bounds and origin as `view` shows them, `shift_px` to the right."""
        from PIL import ImageDraw  # noqa: PLC0415

        draw = ImageDraw.Draw(picture)
        for box, colour in ((self._travel(), _TRAVEL_COLOUR), (self._bounds, _BOUNDS_COLOUR)):
            left, right = (float(view.x_px(mm)) + shift_px for mm in (box[0], box[2]))
            top, bottom = (float(view.y_px(mm)) for mm in (box[3], box[1]))
            if shift_px or box is self._bounds or right < view.width_px:
                draw.rectangle((left, top, right, bottom), outline=colour)
        x, y = float(view.x_px(0.0)) + shift_px, float(view.y_px(0.0))
        draw.line((x - _CROSS_PX, y, x + _CROSS_PX, y), fill=_ORIGIN_COLOUR)
        draw.line((x, y - _CROSS_PX, x, y + _CROSS_PX), fill=_ORIGIN_COLOUR)
