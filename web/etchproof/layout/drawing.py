"""Cards as dots: what burns and what stays bare, drawn again from the description alone."""

from functools import lru_cache

import numpy as np

from etchpath.writer.raster import Bits
from etchphoto.halftone import HALFTONES
from etchproof.card import COLUMN_LINES, ROW_LINES, Area, Card, HairlinePair, Patch
from etchproof.layout.alphabet import draw_text
from etchproof.layout.markers import MODULES, draw_marker

PEN_MM = 0.3  # wide enough to be read at arm's length
TEXT_MM = 1.8


def draw_card(card: Card) -> Bits:
    """Return the dots of `card`, True = burn: shape (rows, columns), row 0 on top."""
    bits = np.zeros((card.rows, card.columns), dtype=np.bool_)
    for marker in card.markers:
        _put(bits, marker.area, draw_marker(marker.code, marker.area.height // MODULES))
    for label in card.labels:
        _put(bits, label.area, label_dots(label.text, card.spacing_mm))
    for patch in card.patches:
        _put(bits, patch.area, patch_dots(patch, card.halftone))
    for pair in card.hairlines:
        for area in hairline_areas(pair, card.spacing_mm):
            bits[area.rows, area.columns] = True
    return bits


def patch_dots(patch: Patch, halftone: str) -> Bits:
    """Return a patch's dots: lines, or the halftone that photos will have; not to be written to."""
    if patch.part in (ROW_LINES, COLUMN_LINES):
        return _lines(patch)
    return _tint(patch.area.shape, patch.coverage, halftone, patch.rows_apart)


def pitch_dots(patch: Patch) -> int:
    """Return how many dots lie from line to line of a patch of lines."""
    return round(1 / patch.coverage)


def _lines(patch: Patch) -> Bits:
    bits = np.zeros(patch.area.shape, dtype=np.bool_)
    pitch = pitch_dots(patch)
    if patch.part == ROW_LINES:
        bits[pitch // 2 :: pitch] = True
    else:
        bits[:, pitch // 2 :: pitch] = True
    return bits


@lru_cache(maxsize=64)
def _tint(shape: tuple[int, int], coverage: float, halftone: str, rows_apart: int) -> Bits:
    if coverage >= 1:
        return np.ones(shape, dtype=np.bool_)
    rows, columns = (side // rows_apart for side in shape)
    dots = HALFTONES[halftone](np.full((rows, columns), coverage))
    return np.kron(dots, np.ones((rows_apart, rows_apart), dtype=np.bool_))


@lru_cache(maxsize=256)
def label_dots(text: str, spacing_mm: float) -> Bits:
    """Return a line of text as dots; not to be written to."""
    return draw_text(text, height_dots=TEXT_MM / spacing_mm, pen_dots=max(PEN_MM / spacing_mm, 1))


def hairline_areas(pair: HairlinePair, spacing_mm: float) -> tuple[Area, Area]:
    """Return the dots nearest to where the two hairlines of a pair are told to lie."""
    width = max(1, round(pair.width_mm / spacing_mm))
    places = (pair.left_mm, pair.left_mm + pair.offset_mm)
    lefts = [round(place / spacing_mm) for place in places]
    return (
        Area(pair.upper.top, lefts[0], pair.upper.bottom, lefts[0] + width),
        Area(pair.lower.top, lefts[1], pair.lower.bottom, lefts[1] + width),
    )


def _put(bits: Bits, area: Area, dots: Bits) -> None:
    rows, columns = dots.shape
    bits[area.top : area.top + rows, area.left : area.left + columns] |= dots
