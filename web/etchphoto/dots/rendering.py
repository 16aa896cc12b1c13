"""Dots as a surface shows them: the darkness of each dot of a pattern, by the figures of a dot."""

import math
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchwire.catalogue.dot import Dot

Bits = NDArray[np.bool_]
Floats = NDArray[np.floating[Any]]

SAMPLES: Final = 3  # places at which a dot is looked at, along the row and across it
_REACH_SIGMAS: Final = 3.5
_MOST_OVER: Final = 50.0  # scales beyond the threshold: wholly dark, and powers of it stay finite


def darkness(bits: Bits, dot: Dot, light: Floats | np.float32 | None = None) -> NDArray[np.float32]:
    """Return each dot's mean darkness, 0 bare to 1 solid, of `bits` (True = burnt) on bare tile.

    The shape is that of `bits`, (rows, columns); nothing is burnt around them. `light` is by what
    factor each dot's light counts, or all dots' (`speeds.Motion.light`); without it, by 1.
    """
    total = np.zeros(bits.shape, dtype=np.float32)
    law = Law(dot)
    for exposure in exposures(bits if light is None else bits * light, dot.spread_dots):
        total += law.on_average(exposure)
    return total / np.float32(SAMPLES**2)


class Law:
    """From exposure to darkness, 0 bare to 1 solid, on a coat that is more or less even."""

    def __init__(self, dot: Dot) -> None:
        self._dot, self._solid = dot, 1.0
        side = 2 * _reach_dots(dot.spread_dots) + 1
        solid = exposures(np.ones((side, side), dtype=np.bool_), dot.spread_dots)
        middle = np.array([one[side // 2, side // 2] for one in solid])
        self._solid = float(self.on_average(middle).mean())

    def on_average(self, exposure: Floats) -> Floats:
        """Return the mean darkness over the coat's better and worse places."""
        if not self._dot.unevenness:
            return self._at(exposure)
        return (self._favoured(exposure) + self._hindered(exposure)) / 2

    def give_or_take(self, exposure: Floats) -> Floats:
        """Return by how much the better and the worse places lie off that mean."""
        return (self._favoured(exposure) - self._hindered(exposure)) / 2

    def _favoured(self, exposure: Floats) -> Floats:
        return self._at(exposure * np.float32(1 + self._dot.unevenness))

    def _hindered(self, exposure: Floats) -> Floats:
        return self._at(exposure * np.float32(1 - self._dot.unevenness))

    def _at(self, exposure: Floats) -> Floats:
        dot = self._dot
        return darkened(exposure, dot.threshold, dot.scale, dot.steepness) / self._solid


def darkened(exposure: Floats, threshold: float, scale: float, steepness: float) -> Floats:
    """Return the law's darkness, 0 to 1, of these exposures."""
    over = np.minimum(np.maximum(exposure - threshold, 0) / scale, _MOST_OVER)
    return np.asarray(1 - np.exp(-(over**steepness)))


def exposures(bits: Bits | Floats, spread_dots: float) -> list[NDArray[np.float32]]:
    """Return the exposure at each of SAMPLES² places of every dot, row by row of places."""
    burnt = np.asarray(bits, dtype=np.float32)
    along, across = kernels(spread_dots)
    return [
        np.asarray(cv2.sepFilter2D(burnt, -1, x, y, borderType=cv2.BORDER_CONSTANT))
        for y in across
        for x in along
    ]


def kernels(spread_dots: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return what the dots around add at each place of a dot: along the row, and across it.

    Both have the shape (SAMPLES, 2 reach + 1). Along the row light is on over the dot's width,
    across it the row is a line. A solid area gets 1 on average.
    """
    reach = _reach_dots(spread_dots)
    places = (np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5
    off = np.arange(-reach, reach + 1) - places[:, np.newaxis]
    along = _normal((off + 0.5) / spread_dots) - _normal((off - 0.5) / spread_dots)
    across = np.exp(-0.5 * (off / spread_dots) ** 2)
    across /= across.sum(axis=1).mean()
    return along.astype(np.float32), across.astype(np.float32)


def _reach_dots(spread_dots: float) -> int:
    return math.ceil(_REACH_SIGMAS * spread_dots + 0.5)


def _normal(values: Floats) -> Floats:
    """Return the normal distribution's integral."""
    flat = [0.5 * math.erfc(-value / math.sqrt(2)) for value in values.ravel().tolist()]
    return np.array(flat).reshape(values.shape)
