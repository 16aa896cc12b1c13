"""Shapes: how far a place lies outside one, in millimetres; inside it is negative.

Of an oval the distance is that of its implicit function over its slope (a first-order estimate):
exact on the edge and along both axes. The line of an oval of 2 : 1 is a few per cent off in width
between them.
"""

from typing import Final

import numpy as np

from etchphoto.layout.design import Box, Shape
from etchphoto.layout.grid import Floats

_MIDDLE: Final = 1e-9  # where the slope of an oval vanishes


def distance_mm(shape: Shape, box: Box, corner_mm: float, x_mm: Floats, y_mm: Floats) -> Floats:
    """Return the signed distance of places from a shape in `box`; `corner_mm` is for rounded ones.

    `x_mm` and `y_mm` broadcast against one another.
    """
    x = np.abs(x_mm - (box.left_mm + box.width_mm / 2))
    y = np.abs(y_mm - (box.top_mm + box.height_mm / 2))
    half_x, half_y = box.width_mm / 2, box.height_mm / 2
    if shape is Shape.CIRCLE:
        return np.asarray(np.hypot(x, y) - min(half_x, half_y))
    if shape is Shape.OVAL:
        return _oval(x, y, half_x, half_y)
    radius = min(corner_mm, half_x, half_y) if shape is Shape.ROUNDED else 0.0
    out_x, out_y = x - (half_x - radius), y - (half_y - radius)
    beyond = np.hypot(np.maximum(out_x, 0), np.maximum(out_y, 0))
    return np.asarray(beyond + np.minimum(np.maximum(out_x, out_y), 0) - radius)


def _oval(x: Floats, y: Floats, half_x: float, half_y: float) -> Floats:
    level = np.hypot(x / half_x, y / half_y)
    slope = np.hypot(x / half_x**2, y / half_y**2)
    estimate = level * (level - 1) / np.maximum(slope, _MIDDLE)
    return np.where(slope < _MIDDLE, -min(half_x, half_y), estimate)
