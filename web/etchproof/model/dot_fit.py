"""From a tone card to a dot: which dot makes the card's own patterns as dark as they were read.

For one spread, what counts of a step's pattern is how often each exposure occurs in it, and that
is worked out once; the rest then fits in no time. The spread is looked for among many, then beside
the best. Steps read with a little noise leave a valley of wide dots without a threshold that fit
nearly as well, so what is usual counts for something: the more, the noisier the steps.

In fine detail the head runs slower and with less power than the recipe says, and some steps got
less light for it: how much less tells how power counts against time.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits
from etchphoto.dots.rendering import darkened, darkness, exposures
from etchphoto.dots.speeds import lit
from etchphoto.light import lightness
from etchproof.model.damped_steps import least_squares
from etchproof.reading.measuring import UNEVEN_CELL_MM
from etchwire.catalogue.dot import (
    MOST_POWER_EXPONENT,
    MOST_UNEVENNESS,
    USUAL_POWER_EXPONENT,
    USUAL_SCALE,
    USUAL_STEEPNESS,
    USUAL_THRESHOLD,
    Dot,
)

Floats = NDArray[np.floating[Any]]

_SPREADS: Final = tuple(np.geomspace(0.22, 1.5, 11).tolist())
_FINER: Final = 3  # times the way between two spreads is halved
_BINS: Final = 240
_MOST_EXPOSURE: Final = 2.5
_MIDDLES: Final = (np.arange(_BINS) + 0.5) / _BINS * _MOST_EXPOSURE
_STARTS: Final = ((0.2, 0.3, 1.5), (0.5, 0.3, 1.0))  # threshold, scale, steepness
_LEAST_NOISE: Final = 0.004  # of reflectance: no camera reads better

# What is usual and how far off it may well be, as logarithms (the threshold's of its odds). Lines
# are laid so that they just close, hence the spread, in dots.
_USUAL: Final = np.log(
    (
        USUAL_THRESHOLD / (1 - USUAL_THRESHOLD),
        USUAL_SCALE,
        USUAL_STEEPNESS,
        USUAL_POWER_EXPONENT,
        0.45,
    )
)
_DOUBT: Final = np.array((1.5, 1.0, 1.0, 0.2, 0.35))
_LAW: Final = len(_USUAL) - 1  # the figures of the law come first

_SOLID_DOTS: Final = 40
_SOLID_MIDDLE: Final = slice(15, 25)
LEAST_UNEVENNESS: Final = 0.02  # of exposure: less changes no dot
_NUDGE: Final = 0.05
_USUAL_UNEVENNESS: Final = 0.04  # the first guess
_GUESSES: Final = 6  # each from the one before, towards which they close in by turns
_FAR: Final = math.sqrt(3)  # places that far off, each with a sixth of the weight, stand for a
_FAR_SHARE: Final = 1 / 6  # normal distribution (Gauss and Hermite's three points)
_LEAST_SCATTER: Final = 0.3  # of L*, that is told


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step of a tone card: its dots, which of them were read, and what they showed.

    `reflectance` is relative to bare tile, `unevenness` the scatter of L* over cells of
    UNEVEN_CELL_MM, `speed_ratio` and `power_ratio` the shares of the recipe's speed and power that
    were really run.
    """

    bits: Bits
    read: tuple[slice, slice]
    reflectance: float
    unevenness: float
    speed_ratio: float = 1.0
    power_ratio: float = 1.0

    def light(self, dot: Dot) -> np.float32:
        """Return by what factor the light of the step's dots counts."""
        return np.float32(self.power_ratio**dot.power_exponent / self.speed_ratio)


def fit_dot(steps: Sequence[Step], spacing_mm: float) -> Dot:
    """Return the dot that fits `steps`, the last of which is solid."""
    even = _fitted(steps, unevenness=0.0)
    unevenness = _unevenness(steps, even, spacing_mm)
    if unevenness < LEAST_UNEVENNESS:
        return even
    return _fitted(steps, unevenness=min(unevenness, MOST_UNEVENNESS))


def _fitted(steps: Sequence[Step], *, unevenness: float) -> Dot:
    wanted = 1 - np.array([step.reflectance for step in steps])
    patterns = {spread: _Patterns.of(steps, spread, unevenness) for spread in _SPREADS}
    evenly = [one.fitted(wanted, np.full(len(wanted), _LEAST_NOISE)) for one in patterns.values()]
    noise = _noise(steps, min(evenly, key=lambda fit: fit.missed))
    fits = {spread: one.fitted(wanted, noise) for spread, one in patterns.items()}
    ratio = _SPREADS[1] / _SPREADS[0]
    for _ in range(_FINER):
        ratio = ratio**0.5
        middle = min(fits, key=lambda spread: fits[spread].cost)
        for spread in (middle / ratio, middle * ratio):
            fits[spread] = _Patterns.of(steps, spread, unevenness).fitted(wanted, noise)
    spread = min(fits, key=lambda one: fits[one].cost)
    return replace(fits[spread].dot, unevenness=unevenness)


def _noise(steps: Sequence[Step], first: "_Fit") -> Floats:
    """Return how far off each step may be read, by how badly the first fit misses them all.

    A step lies on a coat of its own, so the more it hangs on the light, the further it may be off:
    what lies between bare and black by far more than either.
    """
    freedom = len(steps) / max(1, len(steps) - len(_USUAL) - 1)
    slopes = np.array([_slope(step, first.dot) for step in steps])
    between = _between_steps(slopes, first.missed**2 * freedom)
    return np.asarray(np.sqrt(_LEAST_NOISE**2 + between * slopes**2))


@dataclass(frozen=True, slots=True)
class _Fit:
    """The best dot of one spread: what it costs, and by how much it misses the steps, RMS."""

    dot: Dot
    cost: float
    missed: float


@dataclass(frozen=True, slots=True)
class _Patterns:
    """How often each exposure occurs in each step, shape (steps, bins), and in a solid area.

    Exposures are those at the recipe's speed and power. `speeds` and `powers`, shape (paces, 1),
    are the logarithms of the shares that occur, the whole first; `pace` tells each step's.
    """

    spread_dots: float
    in_steps: Floats
    in_solid: Floats
    speeds: Floats
    powers: Floats
    pace: NDArray[np.intp]

    @classmethod
    def of(cls, steps: Sequence[Step], spread_dots: float, unevenness: float) -> Self:
        solid = np.ones((_SOLID_DOTS, _SOLID_DOTS), dtype=np.bool_)
        middle = _SOLID_MIDDLE, _SOLID_MIDDLE
        in_steps = [_occurring(step.bits, step.read, spread_dots, unevenness) for step in steps]
        in_solid = _occurring(solid, middle, spread_dots, unevenness)
        shares = [(step.speed_ratio, step.power_ratio) for step in steps]
        paces = list(dict.fromkeys([(1.0, 1.0), *shares]))
        pace = np.array([paces.index(share) for share in shares])
        speeds, powers = np.log(paces).T[:, :, np.newaxis]
        return cls(spread_dots, np.stack(in_steps), in_solid, speeds, powers, pace)

    def fitted(self, wanted: Floats, noise: Floats) -> _Fit:
        """Return the best figures for the steps' darkness, each read no better than its noise."""

        def misses(figures: Floats) -> Floats:
            off = (self._darkness(figures) * _deepest(figures, wanted) - wanted) / noise
            given = np.append(figures[:_LAW], np.log(self.spread_dots))
            return np.append(off, (given - _USUAL) / _DOUBT)

        fits = [least_squares(misses, _figures(*start)) for start in _STARTS]
        figures = min(fits, key=lambda fit: float((misses(fit) ** 2).sum()))
        off = misses(figures)
        missed = float(np.sqrt(((off[: len(wanted)] * noise) ** 2).mean()))
        threshold, scale, steepness, power_exponent = _law(figures)
        dot = Dot(
            spread_dots=self.spread_dots,
            threshold=threshold,
            scale=scale,
            steepness=steepness,
            black=min(max(0.0, 1 - _deepest(figures, wanted)), 0.999),
            fit_error=min(missed, 1.0),
            power_exponent=power_exponent,
        )
        return _Fit(dot, float((off**2).sum()), missed)

    def _darkness(self, figures: Floats) -> Floats:
        *law, power_exponent = _law(figures)
        dark = darkened(_MIDDLES * np.exp(power_exponent * self.powers - self.speeds), *law)
        solid = float(self.in_solid @ dark[0])
        return np.asarray((self.in_steps * dark[self.pace]).sum(axis=1) / max(solid, 1e-9))


def _figures(threshold: float, scale: float, steepness: float) -> Floats:
    """Return figures that may be any number; the last is how much deeper than read black is."""
    return np.array([*np.log((threshold / (1 - threshold), scale, steepness)), _USUAL[3], 0.0])


def _law(figures: Floats) -> tuple[float, float, float, float]:
    odds, scale, steepness, power_exponent = np.exp(np.clip(figures[:_LAW], -8, 3))
    within = min(max(1.0, float(power_exponent)), MOST_POWER_EXPONENT)
    return float(odds / (1 + odds)), float(scale), float(steepness), within


def _deepest(figures: Floats, wanted: Floats) -> float:
    """Return the solid's darkness below bare tile, which one step alone would tell too roughly."""
    return float(wanted[-1] * np.exp(figures[_LAW]))


def _occurring(
    bits: Bits, read: tuple[slice, slice], spread_dots: float, unevenness: float
) -> Floats:
    """Return the share of places by exposure, each shared between the two bins beside it."""
    even = np.stack([one[read] for one in exposures(bits, spread_dots)]).ravel()
    places = np.concatenate([even * (1 + off) for off in {-unevenness, unevenness}])
    at = np.clip(places / _MOST_EXPOSURE * _BINS - 0.5, 0, _BINS - 1.001)
    bins = at.astype(np.intp)
    above = at - bins
    counts = np.bincount(bins, 1 - above, minlength=_BINS)
    counts[1:] += np.bincount(bins, above, minlength=_BINS)[:-1]
    return np.asarray(counts / len(places))


def _unevenness(steps: Sequence[Step], dot: Dot, spacing_mm: float) -> float:
    """Return by what share the light counts for more or less from place to place.

    Within the steps their scatter is shared between their patterns, of which a photo's blur leaves
    nobody knows how much, and the coat, by how strongly each step hangs on the light over all that
    the coat makes of it: where black is reached its slope vanishes, and only places that get far
    less light than the rest are seen to be paler. From step to step the coat is held to account for
    how badly the dot fits.
    """
    side = max(1, round(UNEVEN_CELL_MM / spacing_mm))
    own = np.array([_own_scatter(step, dot, side) for step in steps]) ** 2
    scatter = np.array([step.unevenness for step in steps]) ** 2
    of_coat = _USUAL_UNEVENNESS
    for _ in range(_GUESSES):
        coat = np.array([_coat_scatter_square(step, dot, of_coat) for step in steps])
        of_coat = min(of_coat * math.sqrt(_times_coat(scatter, own, coat)), MOST_UNEVENNESS)
        if of_coat < LEAST_UNEVENNESS:
            break
    slopes = np.array([_slope(step, dot) for step in steps])
    return math.sqrt(of_coat**2 + _between_steps(slopes, dot.fit_error**2))


def _between_steps(slopes: Floats, missed_square: float) -> float:
    """Return the square of the coat's share that makes steps of these slopes miss by that much."""
    return max(0.0, missed_square - _LEAST_NOISE**2) / max(float(np.mean(slopes**2)), 1e-6)


def _times_coat(scatter: Floats, own: Floats, coat: Floats) -> float:
    """Return how many times `coat`, together with `own` some times, makes the scatter; squares all.

    Least squares of what differs by as large a share from step to step, neither below nothing.
    """
    weights = 1 / (own + coat + _LEAST_SCATTER**2)
    parts = np.stack([own, coat], axis=1) * weights[:, np.newaxis]
    times_own, times_coat = np.linalg.lstsq(parts, scatter * weights, rcond=None)[0]
    if times_own < 0:
        times_coat = (parts[:, 1] @ (scatter * weights)) / max(
            float(parts[:, 1] @ parts[:, 1]), 1e-9
        )
    return max(0.0, float(times_coat))


def _coat_scatter_square(step: Step, dot: Dot, unevenness: float) -> float:
    """Return the variance of a step's L* from place to place of a coat that uneven."""
    off = _FAR * unevenness
    paler, even, darker = (_shown_lightness(step, dot, 1 + one) for one in (-off, 0.0, off))
    mean = even + _FAR_SHARE * (paler - even + darker - even)
    ends = (paler - mean) ** 2 + (darker - mean) ** 2
    return _FAR_SHARE * ends + (1 - 2 * _FAR_SHARE) * (even - mean) ** 2


def _shown_lightness(step: Step, dot: Dot, times: float) -> float:
    """Return the L* that a step has on the whole where its light counts so many times."""
    light = step.light(dot) * np.float32(max(times, 0.0))
    shown = 1 - (1 - dot.black) * float(darkness(step.bits, dot, light)[step.read].mean())
    return float(lightness(np.array(max(shown, 0.0))))


def _own_scatter(step: Step, dot: Dot, side: int) -> float:
    """Return by how much the pattern alone makes L* scatter over cells of `side` dots."""
    shown = 1 - (1 - dot.black) * darkness(step.bits, dot, step.light(dot))[step.read]
    rows, columns = (length // side * side for length in shown.shape)
    cells = shown[:rows, :columns].reshape(rows // side, side, columns // side, side)
    return float(np.std(lightness(np.maximum(cells.mean(axis=(1, 3)), 0))))


def _slope(step: Step, dot: Dot) -> float:
    """Return by how much a step's reflectance falls when the light grows e-fold, at its rate here.

    More light is as good as a law that asks for less.
    """
    less = lit(dot, 1 + _NUDGE)
    solids = [darkened(np.ones(1), one.threshold, one.scale, one.steepness) for one in (dot, less)]
    before, after = (
        float(darkness(step.bits, one, step.light(one))[step.read].mean()) for one in (dot, less)
    )
    return (1 - dot.black) * (after * float(solids[1][0] / solids[0][0]) - before) / _NUDGE
