"""The tone curve of any kernel from the dot that one kernel's tone card showed."""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.dots.rendering import darkness
from etchphoto.dots.speeds import Motion
from etchphoto.halftone import RUN_IN, Kernel, diffuse
from etchphoto.tone import ToneCurve
from etchwire.catalogue.dot import Dot

_STEPS: Final = 33
_TINT_DOTS: Final = (32, 160)  # inside the run-in, which is not looked at
_GRAIN: Final = 0.05  # of share, from dot to dot: a photo's own, as tried on three of them
_LEAST_RISE: Final = 1e-4


@lru_cache(maxsize=16)
def tone_curve_of(dot: Dot, kernel: Kernel, motion: Motion | None = None) -> ToneCurve:
    """Return what share `kernel` must burn so that a wanted share looks burnt.

    By `motion` the head is slowed down in a tint's fine detail; without it, it is not. An even
    tint at a half or a third makes regular dots, by which the head is slowed down far more than by
    the ragged ones of a photo, so tints then have a photo's grain.
    """
    burnt = np.linspace(0, 1, _STEPS)
    looks = np.array([0.0, *_darkness_of_tints(dot, kernel, motion, burnt[1:-1]), 1.0])
    looks = np.clip(np.maximum.accumulate(looks), 0, 1)
    kept = [0]
    for place in range(1, _STEPS - 1):
        if looks[kept[-1]] + _LEAST_RISE < looks[place] < 1 - _LEAST_RISE:
            kept.append(place)
    kept.append(_STEPS - 1)
    return ToneCurve.from_points(list(zip(looks[kept].tolist(), burnt[kept].tolist(), strict=True)))


def _darkness_of_tints(
    dot: Dot, kernel: Kernel, motion: Motion | None, shares: NDArray[np.float64]
) -> list[float]:
    """Return how dark tints of these shares look.

    They lie one above the other in one picture: the head's speeds are worked out for all at once.
    """
    rows, columns = (side + 2 * RUN_IN for side in _TINT_DOTS)
    grain = np.zeros((rows, columns))
    if motion is not None:
        grain = np.random.default_rng(0).normal(0, _GRAIN, (rows, columns))
    tints = np.clip(shares + grain[..., np.newaxis], 0, 1)
    bits = np.concatenate(np.moveaxis(diffuse(tints, kernel), -1, 0))
    light = None if motion is None else motion.light(bits, dot)
    dark = darkness(bits, dot, light).reshape(len(shares), rows, columns)
    return [float(tint[RUN_IN:-RUN_IN, RUN_IN:-RUN_IN].mean()) for tint in dark]
