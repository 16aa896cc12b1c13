"""Drawing: the dots of lines that were set, by threshold: a dot is ink where half of it is."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from etchphoto.lettering.setting import Line, SetText

FINEST_PX: Final = 1000  # an em: hinting moves no edge by more than a pixel
_FEWEST: Final = 4  # pixels a dot each way
_MOST_PIXELS: Final = 32_000_000  # of one line

Bits = NDArray[np.bool_]


def drawn_lines(text: SetText, spacing_mm: float) -> Iterator[tuple[int, int, Bits]]:
    """Yield each line's ink with the row and the column, from the tile's corner, where it begins.

    Dots lie `spacing_mm` apart; the ink's edges are within half a dot of the letters' outlines.
    """
    for line in text.lines:
        if line.text:
            yield _drawn(text, line, spacing_mm)


def _drawn(text: SetText, line: Line, spacing_mm: float) -> tuple[int, int, Bits]:
    em_dots = text.em_mm / spacing_mm
    x, baseline = line.x_mm / spacing_mm, line.baseline_mm / spacing_mm
    finer = max(_FEWEST, math.ceil(FINEST_PX / em_dots))
    while True:
        face = text.font.at(em_dots * finer)
        left, top, right, bottom = face.getbbox(line.text, anchor="ls")
        first_column, last_column = _dots(x + left / finer, x + right / finer)
        first_row, last_row = _dots(baseline + top / finer, baseline + bottom / finer)
        rows, columns = last_row - first_row, last_column - first_column
        if finer == 1 or rows * columns * finer**2 <= _MOST_PIXELS:
            break
        finer = max(1, finer // 2)
    image = Image.new("L", (columns * finer, rows * finer))
    at = (round((x - first_column) * finer), round((baseline - first_row) * finer))
    ImageDraw.Draw(image).text(at, line.text, fill=255, font=face, anchor="ls")
    return first_row, first_column, np.asarray(image.reduce(finer)) >= 128


def _dots(first: float, last: float) -> tuple[int, int]:
    """Return the first dot and the one after the last, with one to spare on either side."""
    return math.floor(first) - 1, math.ceil(last) + 1
