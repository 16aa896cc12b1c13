"""Picture codes, luminance and lightness: how one becomes the other.

Codes are those of sRGB (IEC 61966-2-1); luminance is relative, 0 for black to 1 for white, and
is what light adds up in; lightness is CIE 1976 L*, 0 to 100, and is what an eye sees as even.
"""

from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.grey_mixes import EYE, GREY_MIXES

Floats = NDArray[np.floating[Any]]

Weights = tuple[float, float, float]

LUMINANCE_WEIGHTS: Final = GREY_MIXES[EYE]  # of linear light; on codes they would give luma

_LIGHTNESS_BREAK: Final = (6 / 29) ** 3
_LIGHTNESS_SLOPE: Final = (29 / 3) ** 3


def srgb_to_linear(values: Floats) -> Floats:
    """Return linear light, 0 to 1, for sRGB values from 0 to 1."""
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(light: Floats) -> Floats:
    """Return sRGB values, 0 to 1, for linear light from 0 to 1."""
    return np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055
    )


def lightness(luminance: Floats) -> Floats:
    """Return L*, 0 to 100, of a relative luminance (ISO 11664-4)."""
    return np.where(
        luminance > _LIGHTNESS_BREAK,
        116 * np.cbrt(luminance) - 16,
        _LIGHTNESS_SLOPE * luminance,
    )


def luminance_of_lightness(values: Floats) -> Floats:
    """Return the relative luminance that has this L*."""
    return np.where(values > 8, ((values + 16) / 116) ** 3, values / _LIGHTNESS_SLOPE)


def luminance(
    codes: NDArray[np.unsignedinteger[Any]], weights: Weights = LUMINANCE_WEIGHTS
) -> NDArray[np.float32]:
    """Return the luminance, shape (rows, columns), of a picture of unsigned integers.

    `codes` has 8 or 16 bits and the shape (rows, columns) for grey, or (rows, columns, n) for
    grey and alpha, red-green-blue, or red-green-blue and alpha. What is transparent shows
    white, mixed in linear light, as the bare tile would. Other `weights` of red, green and blue
    give another grey than an eye sees.
    """
    top = int(np.iinfo(codes.dtype).max)
    table = _linear_table(top)
    if codes.ndim == 2:
        return table.take(codes)
    channels = codes.shape[2]
    if channels < 3:
        light = table.take(codes[..., 0])
    else:
        red, green, blue = (table * np.float32(weight) for weight in weights)
        light = red.take(codes[..., 0])
        light += green.take(codes[..., 1])
        light += blue.take(codes[..., 2])
    if channels in (2, 4):
        light -= 1
        light *= codes[..., -1] / np.float32(top)
        light += 1
    return light


@cache
def _linear_table(top: int) -> NDArray[np.float32]:
    return srgb_to_linear(np.arange(top + 1) / top).astype(np.float32)
