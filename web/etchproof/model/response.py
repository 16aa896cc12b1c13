"""The darkness response: how dark a surface becomes for how much power at which speed.

Below a threshold nothing happens; above it darkness rises and saturates. Power counts for more
than its share of the dose, because heat that comes quickly has less time to flow away: the known
good settings lie on speed ∝ power^1.9. The curve is an assumption, fitted, with its scatter:

    exposure = power^exponent / (speed × spacing)
    darkness = deepest × (1 - exp(-((exposure - threshold) / scale)^steepness))
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from etchphoto.light import lightness
from etchproof.errors import NothingToChoose
from etchproof.model.response_fit import Fit, darkness_of, exposure_for, exposure_of
from etchwire.catalogue.heads import dose_j_per_mm2

Floats = NDArray[np.floating[Any]]

LEAST_PATCHES: Final = 8
ONSET: Final = 0.05
SATURATED: Final = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A solid patch: what it got, at the speed really run, and what it shows."""

    power_w: float
    feed_mm_per_min: float
    reflectance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """A fitted response at one line spacing.

    `log_threshold` and `log_scale` are natural logarithms of exposure, which is 1 at
    `reference_w` and `reference_mm_per_min`; `residual` is the scatter of reflectance.
    """

    exponent: float
    log_threshold: float
    log_scale: float
    log_steepness: float
    deepest: float
    reference_w: float
    reference_mm_per_min: float
    spacing_mm: float
    residual: float

    @property
    def figures(self) -> Floats:
        """The five fitted figures as an array."""
        return np.array(
            [self.exponent, self.log_threshold, self.log_scale, self.log_steepness, self.deepest]
        )

    def lightness(self, power_w: float, feed_mm_per_min: Floats) -> Floats:
        """Return the L*, beside bare tile, that solid patches would have at these speeds."""
        exposure = exposure_of(self.exponent, *self._scaled(power_w, feed_mm_per_min))
        return lightness(np.maximum(1 - darkness_of(self.figures, exposure), 0))

    def threshold_j_per_mm2(self, power_w: float) -> float:
        """Return the dose at which darkening with `power_w` begins: a twentieth of the deepest."""
        return self._dose_at(ONSET, power_w)

    def saturation_j_per_mm2(self, power_w: float) -> float:
        """Return the dose at which darkening with `power_w` is nearly done: 19 twentieths."""
        return self._dose_at(SATURATED, power_w)

    def _dose_at(self, share: float, power_w: float) -> float:
        power = (power_w / self.reference_w) ** self.exponent
        feed = power / exposure_for(self.figures, share) * self.reference_mm_per_min
        return dose_j_per_mm2(
            power_w=power_w, feed_mm_per_min=feed, line_spacing_mm=self.spacing_mm
        )

    def _scaled(self, power_w: float, feed_mm_per_min: Floats) -> tuple[Floats, Floats]:
        power = np.full_like(np.asarray(feed_mm_per_min, dtype=np.float64), power_w)
        return power / self.reference_w, np.asarray(feed_mm_per_min) / self.reference_mm_per_min

    @classmethod
    def fitted(cls, points: Sequence[Point], spacing_mm: float) -> Self:
        """Fit the response to solid patches; raise NothingToChoose where they show none."""
        if len(points) < LEAST_PATCHES:
            raise NothingToChoose(
                f"{len(points)} sound patches are too few for a darkness curve: {LEAST_PATCHES} "
                "are needed"
            )
        power = np.array([point.power_w for point in points])
        feed = np.array([point.feed_mm_per_min for point in points])
        dark = 1 - np.array([point.reflectance for point in points])
        if float(np.ptp(dark)) < 0.1:
            raise NothingToChoose(
                "all patches are equally dark, so they show no darkness curve: spread the speeds "
                "and powers further"
            )
        reference = float(np.exp(np.log(power).mean())), float(np.exp(np.log(feed).mean()))
        fit = Fit(power / reference[0], feed / reference[1], dark)
        figures, residual = fit.best()
        return cls(
            exponent=float(figures[0]),
            log_threshold=float(figures[1]),
            log_scale=float(figures[2]),
            log_steepness=float(figures[3]),
            deepest=float(figures[4]),
            reference_w=reference[0],
            reference_mm_per_min=reference[1],
            spacing_mm=spacing_mm,
            residual=residual,
        )
