"""Composing: the layers of a design as one raster of dots, each dot decided once.

Photos may have dots given in parts (`etchpath.writer.raster`). What is laid over them is drawn in
whole dots, and where that cuts off a part of a dot, the part goes with its neighbour.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self, TypeAlias

import numpy as np

from etchpath.writer.raster import Bits, in_parts, parts_of, parts_per_dot
from etchphoto.errors import UnfitDesign
from etchphoto.findings import PhotoFinding
from etchphoto.layout.design import (
    Box,
    Design,
    Ink,
    LetteringLayer,
    MaskLayer,
    OutlineLayer,
    PhotoLayer,
    called,
)
from etchphoto.layout.grid import ROWS_AT_ONCE, Floats, Grid, Window
from etchphoto.layout.shapes import distance_mm
from etchphoto.lettering.drawing import drawn_lines
from etchphoto.lettering.fonts import find_font
from etchphoto.lettering.setting import SetText, set_text

LEAST_DOTS: Final = 3  # a stroke of fewer is told: common practice, no source

DrawnLayer: TypeAlias = LetteringLayer | OutlineLayer | MaskLayer
# From rows of a photo's dots to the share of them that its masks keep, 0 to 1.
Fade: TypeAlias = Callable[[slice], Floats]
# From how a photo fades, if it does, to its dots.
PhotoDots: TypeAlias = Callable[[Fade | None], Bits]


def set_letterings(design: Design) -> dict[int, SetText]:
    """Return the lettering of a design, set, by the number of its layer from 0.

    Raise FontMissing or UnfitDesign for what cannot be drawn.
    """
    letterings = {}
    for number, layer in enumerate(design.layers):
        if isinstance(layer, LetteringLayer):
            try:
                letterings[number] = set_text(layer, design.box_of(layer), find_font(layer.font))
            except UnfitDesign as error:
                raise UnfitDesign(f"{called(layer, number + 1)}: {error}") from error
    return letterings


def lettering_findings(
    letterings: Sequence[SetText], *, spacing_mm: float, spot_mm: float
) -> tuple[PhotoFinding, ...]:
    """Return which lettering has strokes thinner than three dots, or three spots."""
    least_mm = LEAST_DOTS * max(spacing_mm, spot_mm)
    return tuple(
        PhotoFinding(
            "lettering-too-fine",
            f"The thin strokes of “{text.lines[0].text}” are {text.stroke_mm:.2f} mm wide, or "
            f"{text.stroke_mm / spacing_mm:.1f} dots: below {least_mm:.2f} mm, three dots of this "
            f"laser, letters close up or break. Make capitals "
            f"{text.least_capital_mm(least_mm):.1f} mm high or more (they are "
            f"{text.capital_mm:.1f}), or take a bolder font.",
        )
        for text in letterings
        if text.stroke_mm < least_mm * (1 - 1e-6)
    )


@dataclass(frozen=True, slots=True)
class _Raster:
    """Dots while layers are laid on them: those of a whole grid from `top` and `left` on."""

    grid: Grid
    bits: Bits
    top: int = 0
    left: int = 0

    def with_photo(self, dots: Bits, window: Window) -> Self:
        """Return the raster with a photo's dots there, in parts where the photo's are."""
        bits = in_parts(self.bits, parts_per_dot(dots))
        bits[window] = dots
        return replace(self, bits=bits)

    def lay(self, layer: DrawnLayer, box: Box, text: SetText | None) -> None:
        """Lay one layer; `text` is that of lettering."""
        if isinstance(layer, OutlineLayer):
            self._outline(layer, box)
        elif isinstance(layer, MaskLayer):
            self._mask(layer, box)
        elif text is not None:
            is_burnt = layer.ink is Ink.BURNT
            if layer.field_mm is not None:
                self._fill(text.ink.grown(layer.field_mm), is_burnt=not is_burnt)
            self._write(text, is_burnt=is_burnt)

    def _fill(self, box: Box, *, is_burnt: bool) -> None:
        self._at(self._here(self.grid.window(box)))[...] = is_burnt

    def _write(self, text: SetText, *, is_burnt: bool) -> None:
        near = text.ink.grown(2 * self.grid.spacing_mm)
        if not self._at(self._here(self.grid.window(near))).size:
            return
        for row, column, ink in drawn_lines(text, self.grid.spacing_mm):
            rows = slice(row, row + ink.shape[0])
            window = self._here((rows, slice(column, column + ink.shape[1])))
            top, left = window[0].start - row, window[1].start - column
            part = self._at(window)
            part[ink[top : top + part.shape[0], left : left + part.shape[1]]] = is_burnt

    def _outline(self, layer: OutlineLayer, box: Box) -> None:
        for window in self.grid.strips(self._here(self.grid.window(box))):
            away = distance_mm(layer.shape, box, layer.corner_mm, *self.grid.middles_mm(window))
            is_line = (away < 0) & (away >= -layer.line_mm)
            self._at(window)[is_line] = layer.ink is Ink.BURNT

    def _mask(self, layer: MaskLayer, box: Box) -> None:
        whole = slice(0, self.grid.rows), slice(0, self.grid.columns)
        for window in self.grid.strips(self._here(whole)):
            away = distance_mm(layer.shape, box, layer.corner_mm, *self.grid.middles_mm(window))
            self._at(window)[away >= 0] = False

    def _here(self, window: Window) -> Window:
        """Return what is here of a window of the grid; it may be empty."""
        rows, columns = window
        return (
            _within(rows, self.top, self.bits.shape[0]),
            _within(columns, self.left, self.bits.shape[1]),
        )

    def _at(self, window: Window) -> Bits:
        """Return the dots of a window of the grid that is here."""
        rows, columns = window
        return self.bits[
            rows.start - self.top : rows.stop - self.top,
            columns.start - self.left : columns.stop - self.left,
        ]


def _within(span: slice, first: int, count: int) -> slice:
    start = min(max(span.start, first), first + count)
    return slice(start, min(max(span.stop, start), first + count))


def composed(
    design: Design, grid: Grid, letterings: dict[int, SetText], photo_dots: PhotoDots | None
) -> Bits:
    """Return the dots of the whole tile (True = burnt, row 0 on top), in parts if the photo's are.

    `letterings` are those of `set_letterings`; `photo_dots` makes the dots of the photo, without
    which its box stays white.
    """
    raster = _Raster(grid, np.zeros((grid.rows, grid.columns), dtype=np.bool_))
    for number, layer in enumerate(design.layers):
        box = design.box_of(layer)
        if not isinstance(layer, PhotoLayer):
            raster.lay(layer, box, letterings.get(number))
        elif photo_dots is not None:
            window = grid.window(box)
            raster = raster.with_photo(photo_dots(photo_fade(design, grid, window)), window)
    _mend_cut_runs(raster.bits)
    return raster.bits


def lay_over(
    bits: Bits, design: Design, grid: Grid, letterings: dict[int, SetText], *, top: int, left: int
) -> None:
    """Lay a design's layers over some dots of the photo that lies below them, in place.

    `bits` (`etchpath.writer.raster`) are those of `grid` from row `top` and column `left` on.
    """
    raster = _Raster(grid, bits, top, left)
    for number, layer in enumerate(design.layers):
        if not isinstance(layer, PhotoLayer):
            raster.lay(layer, design.box_of(layer), letterings.get(number))
    _mend_cut_runs(bits)


def _mend_cut_runs(bits: Bits) -> None:
    """Turn over, in place, each part of a dot that burns alone or stays bare alone.

    A layer has cut the rest of its run away. Layers' own runs are never so short, and a photo's are
    not either: the head would slow down for one, and a controller's pulses of light may be longer.
    Of two such parts side by side both go with the neighbour beyond, and the dot keeps its share.
    There are never three: layers lie on whole dots, and cut a run of the photo at its ends only.
    """
    if parts_per_dot(bits) == 1:
        return
    for first in range(0, len(bits), ROWS_AT_ONCE):
        strip = bits[first : first + ROWS_AT_ONCE]
        changes = np.diff(parts_of(strip), axis=1, prepend=False, append=False)
        strip ^= (changes[:, :-1] & changes[:, 1:]).reshape(strip.shape)


def photo_fade(design: Design, grid: Grid, window: Window) -> Fade | None:
    """Return how the soft masks over a photo let it fade, for rows of a window of the grid."""
    photo = next((n for n, one in enumerate(design.layers) if isinstance(one, PhotoLayer)), -1)
    later = design.layers[photo + 1 :]
    masks = [layer for layer in later if isinstance(layer, MaskLayer) and layer.soft_mm]
    if not masks:
        return None

    def kept(rows: slice) -> Floats:
        top, columns = window[0].start, window[1]
        x_mm, y_mm = grid.middles_mm((slice(top + rows.start, top + rows.stop), columns))
        share: Floats = np.ones((1, 1))
        for layer in masks:
            box = design.box_of(layer)
            away = distance_mm(layer.shape, box, layer.corner_mm, x_mm, y_mm)
            share = share * _eased(np.clip(-away / layer.soft_mm, 0, 1))
        return share

    return kept


def _eased(share: Floats) -> Floats:
    """Return the share with a slope of nought at both ends, so that no edge of a fade shows."""
    return share * share * (3 - 2 * share)
