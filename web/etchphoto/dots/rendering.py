"""Dots as a surface shows them: the darkness of each dot of a pattern, by the figures of a dot."""

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits, parts_of, parts_per_dot
from etchwire.catalogue.dot import Dot

Floats = NDArray[np.floating[Any]]

SAMPLES: Final = 3  # places at which a dot is looked at across the row, and along it where whole
_SAMPLES_ALONG: Final = {1: SAMPLES, 2: 2}  # by the parts of a dot: places in each of them
_REACH_SIGMAS: Final = 3.5
_MOST_OVER: Final = 50.0  # scales beyond the threshold: wholly dark, and powers of it stay finite


def darkness(bits: Bits, dot: Dot, light: Floats | np.float32 | None = None) -> NDArray[np.float32]:
    """Return each dot's mean darkness, 0 bare to 1 solid, of `bits` (True = burnt) on bare tile.

    The shape is (rows, columns), whether `bits` are of whole dots or of parts of them
    (`etchpath.writer.raster`); nothing is burnt around them. `light` is by what factor the light of
    each of `bits` counts, or of all (`speeds.Motion.light`); without it, by 1.
    """
    law = Law(dot)
    burnt = parts_of(bits) if light is None else parts_of(bits * light)
    total, places = np.zeros(burnt.shape, dtype=np.float32), 0
    for exposure in exposures(burnt, dot.spread_dots, parts_per_dot(bits)):
        total += law.on_average(exposure)
        places += 1
    whole = (total / np.float32(places)).reshape(*bits.shape[:2], parts_per_dot(bits))
    return np.asarray(whole.mean(axis=2))


class Law:
    """From exposure to darkness, 0 bare to 1 solid, on a coat that is more or less even."""

    def __init__(self, dot: Dot) -> None:
        self._dot, self._solid = dot, 1.0
        side = 2 * _reach(dot.spread_dots) + 1
        solid = exposures(np.ones((side, side), dtype=np.bool_), dot.spread_dots)
        middle = np.array([one[side // 2, side // 2] for one in solid])
        self._solid = float(self.on_average(middle).mean())

    def on_average(self, exposure: Floats) -> Floats:
        """Return the mean darkness over the coat's better and worse places."""
        if not self._dot.unevenness:
            return self._at(exposure)
        favoured, hindered = self.at_either_end(exposure)
        return (favoured + hindered) / 2

    def at_either_end(self, exposure: Floats) -> tuple[Floats, Floats]:
        """Return the darkness of the coat's better places and of its worse ones."""
        unevenness = self._dot.unevenness
        return (
            self._at(exposure * np.float32(1 + unevenness)),
            self._at(exposure * np.float32(1 - unevenness)),
        )

    def _at(self, exposure: Floats) -> Floats:
        dot = self._dot
        return darkened(exposure, dot.threshold, dot.scale, dot.steepness) / self._solid


def darkened(exposure: Floats, threshold: float, scale: float, steepness: float) -> Floats:
    """Return the law's darkness, 0 to 1, of these exposures."""
    over = np.minimum(np.maximum(exposure - threshold, 0) / scale, _MOST_OVER)
    return np.asarray(1 - np.exp(-(over**steepness)))


def exposures(
    bits: Bits | Floats, spread_dots: float, parts: int = 1
) -> Iterator[NDArray[np.float32]]:
    """Yield the exposure at some places of every dot or part of one, row by row of places.

    `bits` has the shape (rows, columns × parts): `etchpath.writer.raster.parts_of`.
    """
    burnt = np.asarray(bits, dtype=np.float32)
    along, across = kernels(spread_dots, parts)
    for y in across:
        for x in along:
            yield np.asarray(cv2.sepFilter2D(burnt, -1, x, y, borderType=cv2.BORDER_CONSTANT))


@lru_cache(maxsize=64)
def kernels(spread_dots: float, parts: int = 1) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return what is burnt around adds at each place of a part: along the row, and across it.

    The shape is (places, 2 reach + 1), the reach being of parts along the row, and of dots across.
    Along the row light is on over the part's width, across it the row is a line. A solid area gets
    1 on average. They are kept, as patterns are drawn with one dot after another, and are not to be
    written to.
    """
    along_parts = spread_dots * parts
    off = _off(_SAMPLES_ALONG[parts], along_parts)
    along = _normal((off + 0.5) / along_parts) - _normal((off - 0.5) / along_parts)
    across = np.exp(-0.5 * (_off(SAMPLES, spread_dots) / spread_dots) ** 2)
    across /= across.sum(axis=1).mean()
    shares = along.astype(np.float32), across.astype(np.float32)
    for one in shares:
        one.setflags(write=False)
    return shares


def _off(count: int, spread: float) -> Floats:
    """Return how far each of `count` places lies from the dots around: (places, 2 reach + 1)."""
    places = (np.arange(count) + 0.5) / count - 0.5
    reach = _reach(spread)
    return np.asarray(np.arange(-reach, reach + 1) - places[:, np.newaxis])


def _reach(spread: float) -> int:
    return math.ceil(_REACH_SIGMAS * spread + 0.5)


def _normal(values: Floats) -> Floats:
    """Return the normal distribution's integral."""
    flat = [0.5 * math.erfc(-value / math.sqrt(2)) for value in values.ravel().tolist()]
    return np.array(flat).reshape(values.shape)
