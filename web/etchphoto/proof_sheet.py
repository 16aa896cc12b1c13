"""A proof to send to whoever ordered the tile: the tile as it will look, and what was agreed."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from PIL import Image, ImageDraw, ImageFont

from etchphoto.expected import TILE_WHITE
from etchphoto.framing import MM_PER_INCH

AnyFont = ImageFont.FreeTypeFont | ImageFont.ImageFont

SHEET_PX: Final = 1080  # the width: what messengers pass on unchanged
_MARGIN_PX, _TEXT_PX, _LINE_PX, _SCALE_PX = 60, 34, 46, 110
_FULL_FONT: Final = "DejaVuSans.ttf"  # looked for where the system keeps fonts
_INK: Final = (24, 33, 44)
_PAPER: Final = (255, 255, 255)
SCALES_MM: Final = (100, 50, 20, 10, 5, 2, 1)  # the longest that fits half the picture's width


@dataclass(frozen=True, slots=True)
class ProofSheet:
    """A drawn proof: `picture` is true to size at `dots_per_inch`."""

    picture: Image.Image
    dots_per_inch: float


def draw_proof(tile: Image.Image, width_mm: float, lines: Sequence[str]) -> ProofSheet:
    """Return the sheet: `tile`, which is `width_mm` wide, a scale below it, and `lines` of text."""
    wide_px = SHEET_PX - 2 * _MARGIN_PX
    high_px = round(tile.height * wide_px / tile.width)
    text_px = len(lines) * _LINE_PX
    size = (SHEET_PX, high_px + text_px + _SCALE_PX + 2 * _MARGIN_PX)
    sheet = Image.new("RGB", size, _PAPER)
    draw = ImageDraw.Draw(sheet)
    draw.rectangle((30, 30, SHEET_PX - 30, high_px + 2 * _MARGIN_PX - 30), fill=TILE_WHITE)
    sheet.paste(tile.resize((wide_px, high_px), Image.Resampling.LANCZOS), (_MARGIN_PX, _MARGIN_PX))
    font, is_full = _font()
    lines = lines if is_full else [_without_accents(line) for line in lines]
    below_px = high_px + 2 * _MARGIN_PX
    px_per_mm = wide_px / width_mm
    scale_mm = next((mm for mm in SCALES_MM if mm <= width_mm / 2), SCALES_MM[-1])
    ends_px = _MARGIN_PX, _MARGIN_PX + scale_mm * px_per_mm
    draw.line((ends_px[0], below_px, ends_px[1], below_px), _INK, 5)
    for end_px in ends_px:
        draw.line((end_px, below_px - 14, end_px, below_px + 14), _INK, 5)
    draw.text((ends_px[1] + 20, below_px - _TEXT_PX / 2), f"{scale_mm} mm", _INK, font)
    for number, line in enumerate(lines):
        draw.text(
            (_MARGIN_PX, below_px + 50 + number * _LINE_PX),
            _fitting(line, font, wide_px),
            _INK,
            font,
        )
    return ProofSheet(sheet, px_per_mm * MM_PER_INCH)


def _font() -> tuple[AnyFont, bool]:
    """Return a font to write with, and whether it has more than the letters of English."""
    try:
        return ImageFont.truetype(_FULL_FONT, _TEXT_PX), True
    except OSError:  # a board without fonts
        return ImageFont.load_default(_TEXT_PX), False


def _without_accents(line: str) -> str:
    """Return `line` in the letters that Pillow's own font has, as far as they have such a form."""
    parted = unicodedata.normalize("NFKD", line)
    return "".join(letter for letter in parted if not unicodedata.combining(letter))


def _fitting(line: str, font: AnyFont, wide_px: int) -> str:
    """Return `line`, cut at its end where it is wider than the sheet."""
    if font.getlength(line) <= wide_px:
        return line
    while line and font.getlength(line + "...") > wide_px:
        line = line[:-1]
    return line.rstrip() + "..."
