"""The letters etched on cards: single strokes with cut corners, drawn by a round pen.

Our own drawing. A laser writes a line as thin as its spot, so a letter is a few straight
strokes; the pen makes them as many dots wide as an eye needs.
"""

import math
import unicodedata
from collections.abc import Iterator
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

Bits = NDArray[np.bool_]
Places = NDArray[np.float64]
Point = tuple[float, float]

GLYPH_WIDTH: Final = 4  # units; a capital is 6 units high
GLYPH_HEIGHT: Final = 6
ADVANCE: Final = 6

# Each stroke is a chain of points, two digits each: x from the left and y from the foot.
STROKES: Final = {
    "0": "10 01 05 16 36 45 41 30 10",
    "1": "04 26 20|00 40",
    "2": "05 16 36 45 43 00 40",
    "3": "06 46 24 34 43 41 30 10 01",
    "4": "30 36 02 42",
    "5": "46 06 04 34 43 41 30 10 01",
    "6": "45 36 16 05 01 10 30 41 42 33 03",
    "7": "06 46 45 20",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "01 10 30 41 45 36 16 05 04 13 43",
    "A": "00 04 26 44 40|02 42",
    "B": "00 06 36 45 44 33 03|33 42 41 30 00",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40|03 33",
    "F": "46 06 00|03 33",
    "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06|40 46|03 43",
    "I": "20 26|10 30|16 36",
    "J": "46 41 30 10 01",
    "K": "00 06|46 03 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 02 04 16 36 44 42 30 10",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 02 04 16 36 44 42 30 10|22 40",
    "R": "00 06 36 45 44 33 03|23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01",
    "T": "06 46|26 20",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46|06 40",
    "Y": "06 23 46|23 20",
    "Z": "06 46 00 40",
    "%": "00 46|05 06 16 15 05|30 31 41 40 30",
    "/": "00 46",
    "-": "13 33",
    "+": "03 43|21 25",
    ".": "20 21",
    ",": "21 10",
    ":": "21 22|24 25",
    "(": "36 25 21 30",
    ")": "16 25 21 10",
    ">": "05 43 01",
    "×": "11 35|15 31",
    "·": "22 23",
    " ": "",
}


def text_width(text: str, height: float) -> float:
    """Return how wide `text` is from its first stroke to its last, in the unit of `height`."""
    return (len(text) * ADVANCE - (ADVANCE - GLYPH_WIDTH)) * height / GLYPH_HEIGHT


def can_write(text: str) -> str:
    """Return `text` in capitals without accents, and without what this alphabet lacks."""
    plain = unicodedata.normalize("NFKD", text.upper())
    return "".join(letter for letter in plain if letter in STROKES)


def draw_text(text: str, *, height_dots: float, pen_dots: float) -> Bits:
    """Return `text` as dots (rows, columns), row 0 on top; half a pen stands out all round."""
    scale = height_dots / GLYPH_HEIGHT
    half = pen_dots / 2
    rows = math.ceil(height_dots + pen_dots)
    columns = math.ceil(text_width(text, height_dots) + pen_dots)
    y, x = np.mgrid[0:rows, 0:columns] + 0.5
    bits = np.zeros((rows, columns), dtype=np.bool_)
    for number, letter in enumerate(text):
        for start, end in _lines(STROKES[letter]):
            points = [
                (half + (number * ADVANCE + px) * scale, half + (GLYPH_HEIGHT - py) * scale)
                for px, py in (start, end)
            ]
            bits |= _distance(x, y, points[0], points[1]) <= half
    return bits


def _lines(strokes: str) -> Iterator[tuple[Point, Point]]:
    for stroke in filter(None, strokes.split("|")):
        points = [(float(pair[0]), float(pair[1])) for pair in stroke.split()]
        yield from pairwise(points)


def _distance(x: Places, y: Places, start: Point, end: Point) -> Places:
    """Return each dot's distance from a stretch of line."""
    along = end[0] - start[0], end[1] - start[1]
    length_sq = along[0] ** 2 + along[1] ** 2
    share = np.zeros_like(x)
    if length_sq:
        share = ((x - start[0]) * along[0] + (y - start[1]) * along[1]) / length_sq
    share = np.clip(share, 0, 1)
    distance: Places = np.hypot(x - start[0] - share * along[0], y - start[1] - share * along[1])
    return distance
