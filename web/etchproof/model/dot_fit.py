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
_LAW_RANGE: Final = (-8.0, 3.0)
_USUAL_SLOPES: Final = np.eye(_LAW + 1) * np.append(1 / _DOUBT[:_LAW], 0.0)[:, np.newaxis]
_LEAST_SOLID: Final = 1e-9
_LEAST_ABOVE: Final = 1e-12  # of exposure: so little over the threshold has no logarithm yet
_MOST_LOG: Final = 300.0  # what e to that power is stays finite

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
    even_noise = np.full(len(wanted), _LEAST_NOISE)
    evenly = {at: one.fitted(wanted, even_noise, _STARTS) for at, one in patterns.items()}
    noise = _noise(steps, min(evenly.values(), key=lambda fit: fit.missed))
    fits = {at: one.fitted(wanted, noise, [evenly[at].figures]) for at, one in patterns.items()}
    ratio = _SPREADS[1] / _SPREADS[0]
    for _ in range(_FINER):
        ratio = ratio**0.5
        middle = min(fits, key=lambda spread: fits[spread].cost)
        start = fits[middle].figures
        for spread in (middle / ratio, middle * ratio):
            one = _Patterns.of(steps, spread, unevenness)
            fits[spread] = one.fitted(wanted, noise, [start])
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
    figures: Floats
    cost: float
    missed: float


@dataclass(frozen=True, slots=True)
class _Patterns:
    """How often each exposure occurs in each step, and in a solid area.

    Each pace (a share of the recipe's speed and power) has exposures of its own. Of those that
    occur, shape (exposures,), `at_recipe` tells what they are at the recipe's speed and power, and
    `speed` and `power` the logarithms of their pace's shares; `occurring` has the shape
    (exposures, steps + 1), the solid last.
    """

    spread_dots: float
    at_recipe: Floats
    speed: Floats
    power: Floats
    occurring: Floats

    @classmethod
    def of(cls, steps: Sequence[Step], spread_dots: float, unevenness: float) -> Self:
        solid = np.ones((_SOLID_DOTS, _SOLID_DOTS), dtype=np.bool_)
        seen = [(step.bits, step.read, (step.speed_ratio, step.power_ratio)) for step in steps]
        seen.append((solid, (_SOLID_MIDDLE, _SOLID_MIDDLE), (1.0, 1.0)))
        paces = list(dict.fromkeys(share for _, _, share in seen))
        of_pace = np.zeros((len(paces), _BINS, len(seen)))
        for number, (bits, read, share) in enumerate(seen):
            counts = _occurring(bits, read, spread_dots, unevenness)
            of_pace[paces.index(share), :, number] = counts
        pace, place = np.nonzero(of_pace.any(axis=2))
        speed, power = np.log(paces)[pace].T
        return cls(spread_dots, _MIDDLES[place], speed, power, of_pace[pace, place])

    def fitted(self, wanted: Floats, noise: Floats, starts: Sequence[Floats]) -> "_Fit":
        """Return the best figures for the steps' darkness, each read no better than its noise."""

        def misses(figures: Floats) -> Floats:
            off = (self._darkness(figures) * _deepest(figures, wanted) - wanted) / noise
            given = np.append(figures[:_LAW], np.log(self.spread_dots))
            return np.append(off, (given - _USUAL) / _DOUBT)

        def slopes(figures: Floats) -> Floats:
            depth = _deepest(figures, wanted) / noise
            return np.vstack([self._slopes(figures) * depth[:, np.newaxis], _USUAL_SLOPES])

        fits = [least_squares(misses, start, slopes) for start in starts]
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
        return _Fit(dot, figures, float((off**2).sum()), missed)

    def _darkness(self, figures: Floats) -> Floats:
        """Return each step's darkness beside the solid's."""
        *law, power_exponent = _law(figures)
        shown = darkened(self._exposure(power_exponent), *law) @ self.occurring
        return np.asarray(shown[:-1] / max(shown[-1], _LEAST_SOLID))

    def _slopes(self, figures: Floats) -> Floats:
        """Return the slopes of `_darkness`, times the depth, by each figure: (steps, figures)."""
        threshold, scale, steepness, power_exponent = _law(figures)
        exposure = self._exposure(power_exponent)
        above = np.maximum(exposure - threshold, _LEAST_ABOVE)
        over = np.log(above / scale)
        power = np.exp(np.minimum(steepness * over, _MOST_LOG))
        left = np.exp(-power)
        by_over = (exposure > threshold) * steepness * power * left
        by_exposure = by_over / above
        of_law = [
            1 - left,
            -by_exposure * threshold * (1 - threshold),
            -by_over,
            by_over * over,
            by_exposure * exposure * self.power * power_exponent,
        ]
        shown = np.stack(of_law) @ self.occurring
        dark, solid = shown[:, :-1], max(shown[0, -1], _LEAST_SOLID)
        by_law = (dark[1:] - dark[0] * (shown[1:, -1:] / solid)).T * _moves_law(figures)
        return np.asarray(np.column_stack([by_law, dark[0]]) / solid)  # the depth is the last

    def _exposure(self, power_exponent: float) -> Floats:
        return np.asarray(self.at_recipe * np.exp(power_exponent * self.power - self.speed))


def _figures(threshold: float, scale: float, steepness: float) -> Floats:
    """Return figures that may be any number; the last is how much deeper than read black is."""
    return np.array([*np.log((threshold / (1 - threshold), scale, steepness)), _USUAL[3], 0.0])


# threshold, scale, steepness
_STARTS: Final = (_figures(0.2, 0.3, 1.5), _figures(0.5, 0.3, 1.0))


def _law(figures: Floats) -> tuple[float, float, float, float]:
    odds, scale, steepness, power_exponent = np.exp(np.clip(figures[:_LAW], *_LAW_RANGE))
    within = min(max(1.0, float(power_exponent)), MOST_POWER_EXPONENT)
    return float(odds / (1 + odds)), float(scale), float(steepness), within


def _moves_law(figures: Floats) -> NDArray[np.bool_]:
    """Return which of the figures `_law` does not hold at an end of their range."""
    low, high = _LAW_RANGE
    highest = np.array([high, high, high, math.log(MOST_POWER_EXPONENT)])
    lowest = np.array([low, low, low, 0.0])
    return np.asarray((lowest < figures[:_LAW]) & (figures[:_LAW] < highest))


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
    even = [_shown_lightness(step, dot, 1.0) for step in steps]
    of_coat = _USUAL_UNEVENNESS
    for _ in range(_GUESSES):
        coat = np.array([
            _coat_scatter_square(step, dot, of_coat, its)
            for step, its in zip(steps, even, strict=True)
        ])  # fmt: skip
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


def _coat_scatter_square(step: Step, dot: Dot, unevenness: float, even: float) -> float:
    """Return the variance of a step's L* from place to place of a coat that uneven.

    `even` is its L* where the coat is as it is on the whole.
    """
    off = _FAR * unevenness
    paler, darker = (_shown_lightness(step, dot, 1 + one) for one in (-off, off))
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
