"""Setting: how large lines of text become in a box, where each lies, and how thin they are drawn.

Everything goes by ink, what is really drawn: lines begin at the box's edge with their first
stroke, and a block stands in the middle by its own top and bottom. A font's own side bearings
would put a name a millimetre off on a tile.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import Align, Box, LetteringLayer, Stand
from etchphoto.lettering.fonts import Font

Bits: TypeAlias = NDArray[np.bool_]

MEASURED_PX: Final = 500  # an em: hinting moves no edge by more than a pixel
STROKE_PX: Final = 160
_CAPITAL: Final = "H"
_THIN_SHARE: Final = 0.1  # of the ink: what is thinner is tips and corners
_HAIR: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line: where its origin lies on the baseline, from the tile's upper left corner."""

    text: str
    x_mm: float
    baseline_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SetText:
    """Lines as they will be drawn; `ink` is the box round all that is drawn."""

    font: Font
    em_mm: float
    capital_mm: float
    lines: tuple[Line, ...]
    ink: Box
    stroke_mm: float

    def least_capital_mm(self, stroke_mm: float) -> float:
        """Return how high capitals have to be for strokes as wide as that."""
        return self.capital_mm * stroke_mm / self.stroke_mm


@dataclass(frozen=True, slots=True)
class _Extent:
    """The ink of one line, for an em of 1: right and down of its origin on the baseline."""

    left: float
    top: float
    right: float
    bottom: float


def set_text(layer: LetteringLayer, box: Box, font: Font) -> SetText:
    """Set the layer's lines in `box`.

    Raise FontMissing for a letter that the font lacks, UnfitDesign for lines that are larger than
    the box, with the size that would fit.
    """
    text = unicodedata.normalize("NFC", layer.text.expandtabs(1))
    texts = [line.strip() for line in text.strip().splitlines()]
    font.require_glyphs("".join(texts))
    capital = _capital(font)
    block = _Block([_extent(font, text) for text in texts], capital * layer.leading)
    if layer.field_mm:
        box = _inner(box, layer.field_mm)
    fitting_mm = min(box.width_mm / block.width, box.height_mm / block.height)
    em_mm = fitting_mm if layer.size_mm is None else layer.size_mm / capital
    if em_mm > fitting_mm * (1 + _HAIR):
        raise UnfitDesign(
            f"“{_shown(texts)}” becomes {block.width * em_mm:.1f} × {block.height * em_mm:.1f} mm "
            f"with capitals of {layer.size_mm:g} mm, and its box has {box.width_mm:.4g} × "
            f"{box.height_mm:.4g} mm: make them {_floored(fitting_mm * capital)} mm or less, or "
            "leave out size_mm to fill the box"
        )
    top_mm = box.top_mm + _STAND[layer.stand] * (box.height_mm - block.height * em_mm)
    return SetText(
        font=font,
        em_mm=em_mm,
        capital_mm=em_mm * capital,
        lines=tuple(
            Line(
                text=text,
                x_mm=box.left_mm
                + _ALIGN[layer.align] * (box.width_mm - (extent.right - extent.left) * em_mm)
                - extent.left * em_mm,
                baseline_mm=top_mm + (baseline - block.top) * em_mm,
            )
            for text, extent, baseline in zip(texts, block.extents, block.baselines, strict=True)
        ),
        ink=Box(
            left_mm=box.left_mm + _ALIGN[layer.align] * (box.width_mm - block.width * em_mm),
            top_mm=top_mm,
            width_mm=block.width * em_mm,
            height_mm=block.height * em_mm,
        ),
        stroke_mm=stroke(font, texts) * em_mm,
    )


_ALIGN: Final = {Align.LEFT: 0.0, Align.CENTRE: 0.5, Align.RIGHT: 1.0}
_STAND: Final = {Stand.TOP: 0.0, Stand.MIDDLE: 0.5, Stand.BOTTOM: 1.0}


class _Block:
    """Lines below one another, for an em of 1; the first baseline lies at 0."""

    def __init__(self, extents: Sequence[_Extent], pitch: float) -> None:
        self.extents = extents
        self.baselines = [number * pitch for number in range(len(extents))]
        tops = [base + one.top for base, one in zip(self.baselines, extents, strict=True)]
        bottoms = [base + one.bottom for base, one in zip(self.baselines, extents, strict=True)]
        self.top = min(tops)
        self.height = max(max(bottoms) - self.top, _HAIR)
        self.width = max([_HAIR, *(one.right - one.left for one in extents)])


def _extent(font: Font, text: str) -> _Extent:
    left, top, ink = _ink(font, text, MEASURED_PX)
    columns, rows = np.flatnonzero(ink.any(axis=0)), np.flatnonzero(ink.any(axis=1))
    if not len(rows):
        return _Extent(0, 0, 0, 0)
    edges = (left + columns[0], top + rows[0], left + columns[-1] + 1, top + rows[-1] + 1)
    return _Extent(*(edge / MEASURED_PX for edge in edges))


def _ink(font: Font, text: str, em_px: int) -> tuple[int, int, Bits]:
    """Return what is drawn of a line, and where it begins, in pixels from its origin.

    Pillow's own bounds reach over all advances.
    """
    face = font.at(em_px)
    left, top, right, bottom = (round(edge) for edge in face.getbbox(text, anchor="ls"))
    image = Image.new("L", (max(1, right - left), max(1, bottom - top)))
    ImageDraw.Draw(image).text((-left, -top), text, fill=255, font=face, anchor="ls")
    return left, top, np.asarray(image) >= 128


def _capital(font: Font) -> float:
    """Return the height of a capital letter for an em of 1."""
    return -_extent(font, _CAPITAL).top


def stroke(font: Font, texts: Sequence[str]) -> float:
    """Return how wide the thin strokes of the lines are, for an em of 1.

    A straight stroke of width t that runs in any direction is h wide along a row and v along a
    column, with 1/t² = 1/h² + 1/v²; a tenth of the ink may be thinner, as tips and corners are.
    """
    widths = []
    for letter in dict.fromkeys("".join(texts)):
        _, _, ink = _ink(font, letter, STROKE_PX)
        if ink.any():
            across, down = _run_lengths(ink)[ink], _run_lengths(ink.T).T[ink]
            widths.append(float(np.quantile(1 / np.hypot(1 / across, 1 / down), _THIN_SHARE)))
    return max(min(widths, default=1.0) / STROKE_PX, _HAIR)


def _run_lengths(ink: Bits) -> NDArray[np.float64]:
    """Return for each dot of ink how long its run along the row is; 0 for others."""
    padded = np.pad(ink, ((0, 0), (1, 1)))
    changes = np.flatnonzero(padded.ravel()[1:] != padded.ravel()[:-1]) + 1
    begins, ends = changes[::2], changes[1::2]
    lengths = np.zeros(padded.size)
    lengths[padded.ravel()] = np.repeat(ends - begins, ends - begins)
    return lengths.reshape(padded.shape)[:, 1:-1]


def _inner(box: Box, by_mm: float) -> Box:
    if 2 * by_mm >= min(box.width_mm, box.height_mm):
        raise UnfitDesign(f"a field of {by_mm:g} mm round its letters leaves them no room")
    return box.grown(-by_mm)


def _floored(mm: float) -> str:
    return f"{int(mm * 100) / 100:g}"


def _shown(texts: Sequence[str]) -> str:
    joined = " / ".join(texts)
    return joined if len(joined) <= 40 else f"{joined[:39]}…"
