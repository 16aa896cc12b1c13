"""Framing: which part of the photo lies on the tile, and in how many rows and columns of dots.

A picture has exactly one pixel per line spacing, so its size is a whole number of spacings:
what was asked for is rounded to that, and nothing resamples the dots afterwards.
"""

import math
from dataclasses import dataclass
from typing import Final, Self

from etchphoto.errors import UnfitOrder
from etchphoto.findings import PhotoFinding

MM_PER_INCH: Final = 25.4
MAX_DOTS: Final = 25_000_000  # 400 × 400 mm at 0.08 mm; about 300 MB while worked out
COARSE_PIXELS_PER_DOT: Final = 0.5  # below it an eye sees the photo's own pixels on the tile


@dataclass(frozen=True, slots=True)
class Crop:
    """A part of the upright photo, as shares of its width and height from the top left."""

    left: float = 0.0
    top: float = 0.0
    right: float = 1.0
    bottom: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a box that holds nothing or reaches outside the photo."""
        if 0 <= self.left < self.right <= 1 and 0 <= self.top < self.bottom <= 1:
            return
        raise UnfitOrder(
            f"the crop {self.left:g}, {self.top:g}, {self.right:g}, {self.bottom:g} holds no part "
            "of the photo: give left, top, right and bottom between 0 and 1, left before right "
            "and top before bottom"
        )

    def centred(self, width: float, height: float) -> Self:
        """Return the middle of this box that is left when each side keeps such a share."""
        x, y = (self.left + self.right) / 2, (self.top + self.bottom) / 2
        half_x = (self.right - self.left) / 2 * width
        half_y = (self.bottom - self.top) / 2 * height
        return type(self)(
            max(0.0, x - half_x), max(0.0, y - half_y), min(1.0, x + half_x), min(1.0, y + half_y)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The photo's part `crop` as `rows` by `columns` dots, `line_spacing_mm` apart."""

    columns: int
    rows: int
    line_spacing_mm: float
    crop: Crop
    pixels_per_dot: float

    @property
    def width_mm(self) -> float:
        """The etched width: a whole number of line spacings."""
        return self.columns * self.line_spacing_mm

    @property
    def height_mm(self) -> float:
        """The etched height: a whole number of line spacings."""
        return self.rows * self.line_spacing_mm

    @property
    def findings(self) -> tuple[PhotoFinding, ...]:
        """What the person should know about this frame."""
        if self.pixels_per_dot >= COARSE_PIXELS_PER_DOT:
            return ()
        sentence = (
            f"The photo has only {self.pixels_per_dot:.2g} pixels for each dot of the tile "
            f"({1 / self.pixels_per_dot:.1f} dots to a pixel), so the tile will look coarse: use "
            "a larger photo, crop less of it, or make the tile smaller."
        )
        return (PhotoFinding("coarse-photo", sentence),)


def frame_photo(  # noqa: PLR0913 - one keyword for each thing to be chosen
    width_px: int,
    height_px: int,
    *,
    width_mm: float,
    height_mm: float | None,
    line_spacing_mm: float,
    crop: Crop | None = None,
    most_dots: int = MAX_DOTS,
) -> Frame:
    """Lay an upright photo on a tile; without a height, the photo's own shape decides it.

    The part used is the middle of `crop` (or of the whole photo) in the tile's shape. Raise
    UnfitOrder for a size no tile has.
    """
    box = crop or Crop()
    if min((box.right - box.left) * width_px, (box.bottom - box.top) * height_px) < 1:
        raise UnfitOrder("the crop holds less than one pixel of the photo: give a larger part")
    columns = _dots("width", width_mm, line_spacing_mm)
    shape = (box.bottom - box.top) * height_px / ((box.right - box.left) * width_px)
    if height_mm is None:
        rows = max(1, round(columns * shape))
    else:
        rows = _dots("height", height_mm, line_spacing_mm)
    if rows * columns > most_dots:
        raise UnfitOrder(
            f"{columns} × {rows} dots are more than the {most_dots // 1_000_000} million one job "
            "can have: make the picture smaller or the line spacing wider"
        )
    tile_shape = rows / columns
    part = box.centred(min(1.0, shape / tile_shape), min(1.0, tile_shape / shape))
    pixels_per_dot = (part.right - part.left) * width_px / columns
    return Frame(
        columns=columns,
        rows=rows,
        line_spacing_mm=line_spacing_mm,
        crop=part,
        pixels_per_dot=pixels_per_dot,
    )


def line_spacing_mm(lines_per_inch: float) -> float:
    """Return the spacing that so many lines per inch have: they are one number."""
    if not _is_positive(lines_per_inch):
        raise UnfitOrder(f"lines per inch must be a number above zero, not {lines_per_inch!r}")
    return MM_PER_INCH / lines_per_inch


def _dots(side: str, size_mm: float, spacing_mm: float) -> int:
    for name, value in ((f"the {side}", size_mm), ("the line spacing", spacing_mm)):
        if not _is_positive(value):
            raise UnfitOrder(f"{name} must be a number of millimetres above zero, not {value!r}")
    ratio = size_mm / spacing_mm
    if ratio > MAX_DOTS:
        raise UnfitOrder(
            f"a {side} of {size_mm:g} mm at a line spacing of {spacing_mm:g} mm is more dots than "
            "one job can have: make the picture smaller or the line spacing wider"
        )
    if round(ratio) < 1:
        raise UnfitOrder(
            f"a {side} of {size_mm:g} mm is less than one line spacing of {spacing_mm:g} mm: "
            "make the picture larger or the line spacing narrower"
        )
    return round(ratio)


def _is_positive(value: object) -> bool:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return is_number and 0 < value < math.inf  # type: ignore[operator]
