"""The overlay: the photo with what was read where, for a person to see that it is right."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from etchproof.card import Area
from etchproof.layout.patch_core import core_of
from etchproof.reading.camera import OneReading
from etchproof.reading.measuring import Measured
from etchproof.reading.photograph import Codes
from etchproof.reading.rectification import apply

LONGEST_SIDE_PX: Final = 1600
MARKER_COLOUR: Final = (0, 158, 115)  # these three are told apart by colour-blind eyes too
CORE_COLOUR: Final = (0, 114, 178)
SPOILT_COLOUR: Final = (213, 94, 0)
PAPER: Final = (255, 255, 255)
ROOM_ROUND: Final = 0.03  # of the card's size, to show what lies beside it

Box = list[tuple[float, float]]


def draw_overlay(reading: OneReading) -> Image.Image:
    """Return the card in its photo with each marker, each core that was read, and its lightness.

    A spoilt patch is crossed out as well as drawn in another colour.
    """
    card = reading.at.card
    grey, shift = _cut_out(reading, LONGEST_SIDE_PX)
    image = grey.convert("RGB")
    sketch = ImageDraw.Draw(image)
    to_photo = shift @ reading.at.seen.mm_to_photo
    for marker in card.markers:
        _outline(sketch, _box(to_photo, marker.area, card.spacing_mm), MARKER_COLOUR)
    for patch in card.patches:
        measured = reading.patches[patch.cell, patch.part]
        _draw_patch(sketch, _box(to_photo, core_of(patch.area), card.spacing_mm), measured)
    for pair in card.hairlines:
        for area in (pair.upper, pair.lower):
            _outline(sketch, _box(to_photo, core_of(area), card.spacing_mm), CORE_COLOUR)
    return image


def card_in_photo(reading: OneReading, longest_px: int) -> Image.Image:
    """Return the card in its photo, its longer side `longest_px` at most, nothing drawn on it."""
    image, _ = _cut_out(reading, longest_px)
    return image


def _cut_out(reading: OneReading, longest_px: int) -> tuple[Image.Image, NDArray[np.floating[Any]]]:
    """Return the photo round the card, and what leads from places in the photo to places there."""
    card = reading.at.card
    whole = _box(reading.at.seen.mm_to_photo, Area(0, 0, card.rows, card.columns), card.spacing_mm)
    left, top, codes = _part(reading.at.photo.codes, whole)
    scale = min(1.0, longest_px / max(codes.shape))
    size = max(1, round(codes.shape[1] * scale)), max(1, round(codes.shape[0] * scale))
    shift = np.array([[scale, 0, -left * scale], [0, scale, -top * scale], [0, 0, 1]])
    return Image.fromarray(codes).resize(size, Image.Resampling.BOX), shift


def _part(codes: Codes, box: Box) -> tuple[int, int, Codes]:
    """Return the part of a photo round `box`, and where its upper left corner lies."""
    low, high = np.min(box, axis=0), np.max(box, axis=0)
    room = ROOM_ROUND * (high - low)
    left, top = np.maximum(0, low - room).astype(int).tolist()
    right, bottom = np.ceil(high + room).astype(int).tolist()
    return left, top, codes[top:bottom, left:right]


def _box(to_photo: NDArray[np.floating[Any]], area: Area, spacing_mm: float) -> Box:
    corners = [
        (area.left, area.top),
        (area.right, area.top),
        (area.right, area.bottom),
        (area.left, area.bottom),
    ]
    points = apply(to_photo, np.array(corners, dtype=np.float64) * spacing_mm)
    return [(float(x), float(y)) for x, y in points]


def _draw_patch(sketch: ImageDraw.ImageDraw, box: Box, measured: Measured) -> None:
    if measured.fault is not None:
        _outline(sketch, box, SPOILT_COLOUR)
        sketch.line([box[0], box[2]], fill=SPOILT_COLOUR, width=2)
        sketch.line([box[1], box[3]], fill=SPOILT_COLOUR, width=2)
        return
    _outline(sketch, box, CORE_COLOUR)
    text = f"{measured.lightness:.0f}"
    middle = tuple(np.mean(box, axis=0).tolist())
    font = ImageFont.load_default(_text_size(box))
    edges = sketch.textbbox(middle, text, font=font, anchor="mm")
    sketch.rectangle(_grown(edges), fill=PAPER)
    sketch.text(middle, text, fill=(0, 0, 0), font=font, anchor="mm")


def _text_size(box: Box) -> float:
    heights = [abs(box[3][1] - box[0][1]), abs(box[2][1] - box[1][1]), abs(box[1][0] - box[0][0])]
    return max(9.0, min(22.0, 0.8 * min(heights)))


def _grown(edges: Sequence[float]) -> tuple[float, float, float, float]:
    left, top, right, bottom = edges
    return left - 2, top - 1, right + 2, bottom + 1


def _outline(sketch: ImageDraw.ImageDraw, box: Box, colour: tuple[int, int, int]) -> None:
    sketch.line([*box, box[0]], fill=colour, width=2)
