"""Fitting the darkness response: its formula, and its five figures by least squares.

    exposure = power^exponent / speed
    darkness = deepest × (1 - exp(-((exposure - threshold) / scale)^steepness))

Figures are, in order: exponent, and the logarithms of threshold, scale and steepness, and deepest.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchproof.model.damped_steps import least_squares

Floats = NDArray[np.floating[Any]]

USUAL_EXPONENT: Final = 1.9  # where patches say little about it: as the good settings have it
EXPONENT_DOUBT: Final = 0.5
USUAL_STEEPNESS: Final = 1.2
STEEPNESS_DOUBT: Final = 0.4  # of its logarithm
LEAST_NOISE: Final = 0.004  # of reflectance: no camera reads better
MOST_OVER: Final = 1e3  # far beyond saturation; keeps powers of it finite
STARTS: Final = ((0.3, 0.3), (0.6, 0.6), (0.9, 1.0), (0.1, 1.0))  # threshold and scale, at half


def exposure_of(exponent: float, power: Floats, feed: Floats) -> Floats:
    """Return the exposure of settings, in the unit that both their units make."""
    exposure: Floats = power**exponent / feed
    return exposure


def darkness_of(figures: Floats, exposure: Floats) -> Floats:
    """Return one minus the reflectance that these exposures lead to."""
    _, log_threshold, log_scale, log_steepness, deepest = figures
    over = np.maximum(exposure - np.exp(log_threshold), 0) / np.exp(log_scale)
    over = np.minimum(over, MOST_OVER)
    darkness: Floats = deepest * (1 - np.exp(-(over ** np.exp(log_steepness))))
    return darkness


def exposure_for(figures: Floats, share: float) -> float:
    """Return the exposure that gives this share of the deepest darkness."""
    over = (-np.log(1 - share)) ** np.exp(-figures[3])
    return float(np.exp(figures[1]) + np.exp(figures[2]) * over)


@dataclass(frozen=True, slots=True)
class Fit:
    """Least squares, with two figures held loosely to usual ones."""

    power: Floats
    feed: Floats
    dark: Floats

    def best(self) -> tuple[Floats, float]:
        """Return the figures that fit best, and the scatter of reflectance about them."""
        fits = [least_squares(self._misses, start) for start in self._starts()]
        figures = min(fits, key=lambda fit: float((self._misses(fit) ** 2).sum()))
        misses = self._misses(figures)
        freedom = max(1, len(self.dark) - len(figures))
        residual = float(np.sqrt((misses[: len(self.dark)] ** 2).sum() / freedom)) * LEAST_NOISE
        return figures, residual

    def _starts(self) -> list[Floats]:
        deepest = float(self.dark.max())
        half = np.abs(self.dark - deepest / 2).argmin()
        exposure = float(self.power[half] ** USUAL_EXPONENT / self.feed[half])
        return [
            np.array(
                [
                    USUAL_EXPONENT,
                    np.log(threshold * exposure),
                    np.log(scale * exposure),
                    np.log(USUAL_STEEPNESS),
                    deepest,
                ]
            )
            for threshold, scale in STARTS
        ]

    def _misses(self, figures: Floats) -> Floats:
        exposure = exposure_of(float(figures[0]), self.power, self.feed)
        off = (darkness_of(figures, exposure) - self.dark) / LEAST_NOISE
        usual = [
            (figures[0] - USUAL_EXPONENT) / EXPONENT_DOUBT,
            (figures[3] - np.log(USUAL_STEEPNESS)) / STEEPNESS_DOUBT,
        ]
        return np.append(off, usual)
