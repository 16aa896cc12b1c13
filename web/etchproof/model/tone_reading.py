"""From a tone card to a tone curve: how much a share burnt looks like, turned round.

A dot spreads, so half the area burnt looks like more than half. What it looks like is the
effective coverage after A. Murray (J. Franklin Institute 221, 1936); what must be burnt for a
wanted one is read off the same curve the other way.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.machine import SECONDS_PER_MINUTE
from etchpath.writer.span_row import SpanRow
from etchphoto.light import lightness
from etchphoto.tone import ToneCurve
from etchproof.card import TONE, Area, Card, Patch
from etchproof.errors import NoToneCurve
from etchproof.layout.drawing import patch_dots
from etchproof.layout.etching import span_rows
from etchproof.layout.patch_core import core_of
from etchproof.layout.reach import lit_travels, photo_reach_mm_per_min
from etchproof.model.dot_fit import Step, fit_dot
from etchproof.model.monotone import MonotoneCurve, never_falling
from etchproof.reading.values import Reading
from etchwire.catalogue.dot import Dot

Floats = NDArray[np.floating[Any]]

LEAST_CONTRAST: Final = 0.2  # of the bare tile: less, and there is no black to make greys with
LEAST_STEPS: Final = 5
DARKER_L: Final = 3.0  # by less, side by side, steps look the same (our choice)
CURVE_POINTS: Final = 65
BLACK_DOUBT: Final = 0.002  # of reflectance
LEAST_RISE: Final = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class OverBurnt:
    """A step that is darker than the solid, and the recipe that should be as dark all over."""

    coverage: float
    lightness: float
    solid_lightness: float
    feed_mm_per_min: float
    power_ratio: float

    @property
    def sentence(self) -> str:
        """What it means, for a person."""
        return (
            f"{self.coverage * 100:.0f} % burnt is darker (lightness {self.lightness:.0f}) than "
            f"all of it (lightness {self.solid_lightness:.0f}): this recipe burns too far. About "
            f"{self.feed_mm_per_min:.0f} mm/min with {self.power_ratio * 100:.3g} % should be as "
            "dark as that step: find it with a power card, then etch a new tone card."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneReading:
    """A tone scale as read: shares burnt from 0 to 1, and what each looks like.

    `tvi_percent` is the tone value increase at 50 %, in percentage points.
    """

    burnt: tuple[float, ...]
    effective: tuple[float, ...]
    black: float  # reflectance of the solid beside the bare tile
    tvi_percent: float
    curve: ToneCurve
    over_burnt: OverBurnt | None = None


def effective_coverage(tint: Floats, *, bare: float, solid: float) -> Floats:
    """Return the share of area that explains the reflectance `tint` (Murray-Davies)."""
    share: Floats = (bare - np.asarray(tint)) / (bare - solid)
    return share


def tone_value_increase(nominal: float, effective: float) -> float:
    """Return how much darker a tint looks than it was burnt, in percentage points."""
    return (effective - nominal) * 100


def read_tone(card: Card, reading: Reading) -> ToneReading:
    """Return the tone curve that `card` shows; raise NoToneCurve where it shows none."""
    if card.kind != TONE:
        raise NoToneCurve(f"card {card.number} is no tone card")
    burnt, tints = _steps(card, reading)
    solid = float(tints[-1])
    if burnt[0] != 0 or burnt[-1] != 1 or len(burnt) < LEAST_STEPS:
        raise NoToneCurve(
            "the tone card was not read from bare to solid: take the picture again so that every "
            "step is in it"
        )
    if 1 - solid < LEAST_CONTRAST:
        raise NoToneCurve(
            f"the darkest step still reflects {solid * 100:.0f} % of what the bare tile does: the "
            "recipe does not blacken this surface, so burn a power card first"
        )
    effective = effective_coverage(tints, bare=1.0, solid=solid)
    effective[0], effective[-1] = 0.0, 1.0
    effective = np.clip(never_falling(effective), 0, 1)
    looks = MonotoneCurve.through(burnt, effective)
    return ToneReading(
        burnt=tuple(burnt.tolist()),
        effective=tuple(effective.tolist()),
        black=solid,
        tvi_percent=tone_value_increase(0.5, float(looks(np.array(0.5)))),
        curve=_turned_round(burnt, effective),
        over_burnt=_over_burnt(card, burnt, tints),
    )


def _over_burnt(card: Card, burnt: Floats, tints: Floats) -> OverBurnt | None:
    """Return what to burn instead where a step is darker than the solid, None where none is.

    The area of that step got its share of the solid's dose; so much less all over is the guess.
    """
    shades = lightness(np.maximum(tints, 0))
    darkest = int(np.argmin(shades))
    if shades[-1] - shades[darkest] <= DARKER_L:
        return None
    recipe, share = card.recipe, float(burnt[darkest])
    reach = photo_reach_mm_per_min(card.head, card.spacing_mm, card.halftone)
    feed = min(recipe.feed_mm_per_min / share, max(reach, recipe.feed_mm_per_min))
    dose_left = share * feed / recipe.feed_mm_per_min  # what less power must still take away
    return OverBurnt(
        coverage=share,
        lightness=float(shades[darkest]),
        solid_lightness=float(shades[-1]),
        feed_mm_per_min=feed,
        power_ratio=recipe.power_ratio * dose_left,
    )


@lru_cache(maxsize=4)
def read_dot(card: Card, reading: Reading) -> Dot:
    """Return the dot that makes the tone card's own patterns as dark as they were read.

    Kept for the last few: what a card showed is told, recommended and filed one after another.
    """
    steps, rows = [], span_rows(card)
    for patch in sorted(card.patches, key=lambda one: one.coverage):
        read = reading.of(patch.cell, patch.part)
        if read is not None:
            core = core_of(Area(0, 0, *patch.area.shape))
            speed_ratio, power_ratio = _really_run(rows, patch, card)
            step = Step(
                bits=patch_dots(patch, card.halftone),
                read=(core.rows, core.columns),
                reflectance=read.reflectance,
                unevenness=read.unevenness,
                speed_ratio=speed_ratio,
                power_ratio=power_ratio,
            )
            steps.append(step)
    dot, solid = fit_dot(steps, card.spacing_mm), steps[-1].reflectance
    # A law that misses the greys must not make up for it with a black that was not read.
    black = min(max(dot.black, solid - BLACK_DOUBT), solid + BLACK_DOUBT)
    return replace(dot, black=max(0.0, black))


def _really_run(rows: Sequence[SpanRow], patch: Patch, card: Card) -> tuple[float, float]:
    """Return the shares of the speed and of the power wanted at which a patch was run."""
    (travel,) = lit_travels(rows, [core_of(patch.area)], card.spacing_mm, card.head)
    if travel is None:
        return 1.0, 1.0
    wanted = patch.feed_mm_per_min / SECONDS_PER_MINUTE
    speed = travel.length_mm.sum() / travel.seconds.sum()
    power = np.average(travel.power_mm_per_s, weights=travel.length_mm)
    return min(1.0, float(speed / wanted)), min(1.0, float(power / wanted))


def _steps(card: Card, reading: Reading) -> tuple[Floats, Floats]:
    pairs = []
    for patch in card.patches:
        read = reading.of(patch.cell, patch.part)
        if read is not None:
            pairs.append((patch.coverage, read.reflectance))
    pairs.sort()
    return np.array([share for share, _ in pairs]), np.array([tint for _, tint in pairs])


def _turned_round(burnt: Floats, effective: Floats) -> ToneCurve:
    """Return what to burn for each wanted share: the same points, x and y exchanged."""
    kept = [0]
    for place in range(1, len(effective)):
        if effective[place] > effective[kept[-1]] + LEAST_RISE:
            kept.append(place)
    if effective[kept[-1]] < 1:
        kept[-1] = len(effective) - 1
    inverse = MonotoneCurve.through(effective[kept], burnt[kept])
    wanted = np.linspace(0, 1, CURVE_POINTS)
    to_burn = np.clip(np.maximum.accumulate(inverse(wanted)), 0, 1)
    return ToneCurve.from_points(list(zip(wanted.tolist(), to_burn.tolist(), strict=True)))
