"""How dark thin lines make a patch: what a photo shows of lines that it cannot resolve.

A beam that is a Gaussian across its way leaves the dose

    E(x) = F / (sqrt(2 pi) sigma) exp(-x² / (2 sigma²))

beside a line of F J/mm, and the surface darkens where E passes its threshold. The darkened width
then grows by w² = 8 sigma² ln(E(0) / threshold): the square of the width against the logarithm of
the dose is a straight line whose slope is the beam alone (J. M. Liu, Optics Letters 7, 196, 1982,
from memory). A phone sees no line a tenth of a millimetre wide, but it sees how bright a patch of
many lines is, and that tells the mean width whatever the blur.

Real surfaces darken over a range of doses: their thresholds are taken as log-normally spread.
"""

from functools import lru_cache
from math import erf
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

_SAMPLES: Final = 32  # from the middle of a line to half-way to the next
_NEIGHBOURS: Final = 1  # lines each side whose light still reaches
_LEAST: Final = 1e-9
_DEVIATES: Final = np.linspace(-6, 6, 1201)
_HIGHEST_DENSITY: Final = 1 / np.sqrt(2 * np.pi)
_SHARES: Final = np.array([(1 + erf(one / 2**0.5)) / 2 for one in _DEVIATES])


def normal_share(deviates: Floats) -> Floats:
    """Return the share of a normal distribution below so many standard deviations."""
    shares: Floats = np.interp(deviates, _DEVIATES, _SHARES)
    return shares


def normal_density(deviates: Floats) -> Floats:
    """Return the slope of `normal_share`."""
    return np.asarray(np.exp(-(deviates**2) / 2) * _HIGHEST_DENSITY)


def row_line_dose(sigma_mm: Floats, pitch_mm: float) -> Floats:
    """Return the dose from line to line, per J/mm of each line: shape (beams, places).

    The lines are burnt along their length, one row each.
    """
    dose = np.zeros((len(sigma_mm), _SAMPLES))
    for off_mm in _places(pitch_mm):
        dose += np.exp(-((off_mm / sigma_mm[:, None]) ** 2) / 2)
    spread: Floats = dose / (np.sqrt(2 * np.pi) * sigma_mm[:, None])
    return spread


def row_line_slope(sigma_mm: Floats, pitch_mm: float) -> Floats:
    """Return the slope of `row_line_dose` by sigma, of the same shape."""
    slope = np.zeros((len(sigma_mm), _SAMPLES))
    for off_mm in _places(pitch_mm):
        off = off_mm / sigma_mm[:, None]
        slope += (off**2 - 1) * normal_density(off)
    return np.asarray(slope / sigma_mm[:, None] ** 2)


def column_line_dose(sigma_mm: Floats, pitch_mm: float, dot_mm: float) -> Floats:
    """Return the dose from line to line, as a share of that of a solid area.

    The lines are made of dots of `dot_mm`, one in each row.
    """
    dose = np.zeros((len(sigma_mm), _SAMPLES))
    for off_mm in _places(pitch_mm):
        right, left = (off_mm + side * dot_mm / 2 for side in (1, -1))
        dose += normal_share(right / sigma_mm[:, None]) - normal_share(left / sigma_mm[:, None])
    return dose


def column_line_slope(sigma_mm: Floats, pitch_mm: float, dot_mm: float) -> Floats:
    """Return the slope of `column_line_dose` by sigma, of the same shape."""
    slope = np.zeros((len(sigma_mm), _SAMPLES))
    for off_mm in _places(pitch_mm):
        right, left = ((off_mm + side * dot_mm / 2) / sigma_mm[:, None] for side in (1, -1))
        slope += left * normal_density(left) - right * normal_density(right)
    return np.asarray(slope / sigma_mm[:, None])


def mean_darkness(dose: Floats, log_threshold: float, log_spread: float) -> Floats:
    """Return the mean darkness of each beam's lines: 0 bare, 1 all black."""
    over = (np.log(dose + _LEAST) - log_threshold) / np.exp(log_spread)
    darkness: Floats = normal_share(over).mean(axis=1)
    return darkness


def mean_darkness_slopes(
    dose: Floats, log_threshold: float, log_spread: float
) -> tuple[Floats, Floats, Floats]:
    """Return the slopes of `mean_darkness` by both logarithms, and by each place's dose.

    The last has the shape (beams, places).
    """
    spread = np.exp(log_spread)
    over = (np.log(dose + _LEAST) - log_threshold) / spread
    density = normal_density(over)
    by_dose = density / (spread * (dose + _LEAST)) / dose.shape[1]
    return -density.mean(axis=1) / spread, -(density * over).mean(axis=1), by_dose


@lru_cache(maxsize=4)
def _places(pitch_mm: float) -> tuple[Floats, ...]:
    """Return where the samples lie, seen from each line that reaches there: kept, to be read."""
    here = (np.arange(_SAMPLES) + 0.5) / _SAMPLES * pitch_mm / 2
    return tuple(here - number * pitch_mm for number in range(-_NEIGHBOURS, _NEIGHBOURS + 1))
