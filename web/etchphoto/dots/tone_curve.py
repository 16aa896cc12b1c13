"""The tone curve of any kernel from the dot that one kernel's tone card showed."""

from typing import Final

import numpy as np

from etchphoto.dots.rendering import darkness
from etchphoto.halftone import RUN_IN, Kernel, diffuse
from etchphoto.tone import ToneCurve
from etchwire.catalogue.dot import Dot

_STEPS: Final = 33
_TINT_DOTS: Final = 64  # inside the run-in, which is not looked at
_LEAST_RISE: Final = 1e-4


def tone_curve_of(dot: Dot, kernel: Kernel) -> ToneCurve:
    """Return what share `kernel` must burn so that a wanted share looks burnt."""
    burnt = np.linspace(0, 1, _STEPS)
    looks = np.array([0.0, *(_darkness_of_tint(dot, kernel, one) for one in burnt[1:-1]), 1.0])
    looks = np.clip(np.maximum.accumulate(looks), 0, 1)
    kept = [0]
    for place in range(1, _STEPS - 1):
        if looks[kept[-1]] + _LEAST_RISE < looks[place] < 1 - _LEAST_RISE:
            kept.append(place)
    kept.append(_STEPS - 1)
    return ToneCurve.from_points(list(zip(looks[kept].tolist(), burnt[kept].tolist(), strict=True)))


def _darkness_of_tint(dot: Dot, kernel: Kernel, share: float) -> float:
    side = _TINT_DOTS + 2 * RUN_IN
    bits = diffuse(np.full((side, side), share), kernel)
    return float(darkness(bits, dot)[RUN_IN:-RUN_IN, RUN_IN:-RUN_IN].mean())
