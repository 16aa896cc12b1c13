"""The tone curve of any kernel from the dot that one kernel's tone card showed."""

from functools import lru_cache
from typing import Final

import numpy as np

from etchphoto.dots.rendering import darkness
from etchphoto.dots.speeds import Motion
from etchphoto.halftone import RUN_IN, Kernel, diffuse
from etchphoto.tone import ToneCurve
from etchwire.catalogue.dot import Dot

_STEPS: Final = 33
_TINT_DOTS: Final = (32, 160)  # inside the run-in, which is not looked at
_LEAST_RISE: Final = 1e-4


@lru_cache(maxsize=16)
def tone_curve_of(dot: Dot, kernel: Kernel, motion: Motion | None = None) -> ToneCurve:
    """Return what share `kernel` must burn so that a wanted share looks burnt.

    By `motion` the head is slowed down in a tint's fine detail; without it, it is not.
    """
    burnt = np.linspace(0, 1, _STEPS)
    tints = (_darkness_of_tint(dot, kernel, motion, one) for one in burnt[1:-1])
    looks = np.array([0.0, *tints, 1.0])
    looks = np.clip(np.maximum.accumulate(looks), 0, 1)
    kept = [0]
    for place in range(1, _STEPS - 1):
        if looks[kept[-1]] + _LEAST_RISE < looks[place] < 1 - _LEAST_RISE:
            kept.append(place)
    kept.append(_STEPS - 1)
    return ToneCurve.from_points(list(zip(looks[kept].tolist(), burnt[kept].tolist(), strict=True)))


def _darkness_of_tint(dot: Dot, kernel: Kernel, motion: Motion | None, share: float) -> float:
    shape = [side + 2 * RUN_IN for side in _TINT_DOTS]
    bits = diffuse(np.full(shape, share), kernel)
    light = None if motion is None else motion.light(bits, dot)
    return float(darkness(bits, dot, light)[RUN_IN:-RUN_IN, RUN_IN:-RUN_IN].mean())
