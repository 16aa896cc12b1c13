"""The eye: how much of a pattern of dots blends at the distance a tile is looked at from.

Luminance channel of S-CIELAB (X. Zhang, B. A. Wandell, "A spatial extension of CIELAB for digital
color image reproduction", SID Journal 5, 1997; constants from memory): a sum of
exp(-(r / spread)²), each with its weight, spreads in degrees of visual angle.
"""

import math
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

VIEWING_DISTANCE_MM: Final = 350.0  # a tile in the hand
WEIGHTS: Final = (0.921, 0.105, -0.108)
SPREADS_DEGREES: Final = (0.0283, 0.133, 4.336)


def sigma_mm(spread_degrees: float) -> float:
    """Return the standard deviation of exp(-(r / spread)²) on the tile: spread / √2."""
    return math.tan(math.radians(spread_degrees)) * VIEWING_DISTANCE_MM / math.sqrt(2)


def sharp_sigma_dots(spacing_mm: float) -> float:
    """Return the standard deviation, in dots, of the narrow part that blends dots."""
    return sigma_mm(SPREADS_DEGREES[0]) / spacing_mm


def seen(reflectance: Floats, spacing_mm: float) -> Floats:
    """Return what reaches the eye of reflectance per dot (rows, columns); edges go on beyond."""
    reflectance = np.asarray(reflectance, dtype=np.float32)
    total = np.zeros_like(reflectance)
    for weight, spread in zip(WEIGHTS, SPREADS_DEGREES, strict=True):
        total += weight / sum(WEIGHTS) * _blurred(reflectance, sigma_mm(spread) / spacing_mm)
    return total


def _blurred(values: Floats, sigma: float) -> Floats:
    """Return a Gaussian blur, of a coarser copy where it reaches far, which costs the same."""
    coarser = max(1, int(min(sigma / 8, min(values.shape) / 4)))
    if coarser == 1:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma, borderType=cv2.BORDER_REFLECT))
    rows, columns = values.shape
    size = max(1, columns // coarser), max(1, rows // coarser)
    small = cv2.resize(values, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / coarser, borderType=cv2.BORDER_REFLECT)
    return np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR))
