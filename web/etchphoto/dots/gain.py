"""What searching dots is worth for one laser and surface, by its dot on a small picture.

Where no tone card was read the dot is one of usual figures, as wide as the stated spot makes it.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits
from etchphoto.dots.eye import seen
from etchphoto.dots.heats import TOLD_HEATS
from etchphoto.dots.rendering import darkness
from etchphoto.dots.search import doubted, search_dots
from etchphoto.dots.speeds import Motion, lit
from etchphoto.dots.switch_price import switch_price
from etchphoto.dots.tone_curve import tone_curve_of
from etchphoto.halftone import KERNELS, diffuse_evenly
from etchphoto.light import lightness
from etchphoto.tone import GUESSED_BLACK
from etchwire.catalogue.dot import (
    LEAST_SPREAD_DOTS,
    MOST_SPREAD_DOTS,
    USUAL_POWER_EXPONENT,
    USUAL_SCALE,
    USUAL_STEEPNESS,
    USUAL_THRESHOLD,
    Dot,
)

_SIDE_DOTS: Final = 120
_MARGIN_DOTS: Final = 6
_OFFERED: Final = ("jarvis", "floyd-steinberg")
_HEAT_SPREAD_MM: Final = 0.035  # a guess: so far heat creeps beyond the spot


@dataclass(frozen=True, slots=True)
class Gain:
    """What an eye sees to be wrong, in L*, with the best kernel's dots and with searched ones."""

    kernel_error: float
    search_error: float

    @property
    def percent(self) -> float:
        """By how much the searched dots are better."""
        return 100 * (1 - self.search_error / self.kernel_error)


@lru_cache(maxsize=8)
def foreseen_gain(dot: Dot, motion: Motion) -> Gain:
    """Return the gain on a small picture of ours, as the dot foresees it.

    Each kernel has the tone curve that the dot gives it. A little more and a little less light
    than meant are in it, as the card told them; what the coat does beyond is not.
    """
    wanted = small_picture()
    kernels = (
        diffuse_evenly(tone_curve_of(dot, kernel, motion).apply(wanted), kernel)
        for kernel in KERNELS.values()
    )
    return Gain(
        min(foreseen_error(bits, wanted, dot, motion) for bits in kernels),
        foreseen_search_error(dot, motion),
    )


@lru_cache(maxsize=8)
def foreseen_search_error(dot: Dot, motion: Motion) -> float:
    """Return what an eye sees to be wrong with searched dots on that picture, in L*."""
    wanted = small_picture()
    searched = search_dots(
        wanted,
        dot,
        spacing_mm=motion.recipe.line_spacing_mm,
        motion=motion,
        switch_price=switch_price(motion.head, motion.recipe),
        heats=TOLD_HEATS,
    )
    return foreseen_error(searched, wanted, dot, motion)


@dataclass(frozen=True, slots=True)
class WithoutCard:
    """The kernel that suits the stated spot best, and what an eye sees to be wrong, in L*.

    `card_error` is what dots from a tone card would leave. All by a dot of usual figures.
    """

    kernel: str
    kernel_error: float
    card_error: float


@lru_cache(maxsize=8)
def foreseen_without_card(motion: Motion) -> WithoutCard:
    """Return how a small picture of ours would come out on a usual surface, without a curve."""
    dot, wanted = _usual_dot(motion), small_picture()
    errors = {
        name: foreseen_error(diffuse_evenly(wanted, KERNELS[name]), wanted, dot, motion)
        for name in _OFFERED
    }
    best = min(errors, key=errors.__getitem__)
    return WithoutCard(best, errors[best], foreseen_search_error(dot, motion))


def _usual_dot(motion: Motion) -> Dot:
    spread_mm = math.hypot(motion.head.spot_mm / math.sqrt(12), _HEAT_SPREAD_MM)
    spread_dots = spread_mm / motion.recipe.line_spacing_mm
    return Dot(
        spread_dots=min(max(spread_dots, LEAST_SPREAD_DOTS), MOST_SPREAD_DOTS),
        threshold=USUAL_THRESHOLD,
        scale=USUAL_SCALE,
        steepness=USUAL_STEEPNESS,
        black=GUESSED_BLACK,
        power_exponent=USUAL_POWER_EXPONENT,
    )


def small_picture() -> NDArray[np.float32]:
    """Return the darkness of a picture of what shows dots: a sky, a lit ball, strands of hair.

    The shape is (rows, columns), 0 bare to 1 solid.
    """
    y, x = np.mgrid[0 : 1 : _SIDE_DOTS * 1j, 0 : 1 : _SIDE_DOTS * 1j]
    light = 0.25 + 0.6 * y  # a sky
    across, up = (x - 0.35) / 0.27, (0.55 - y) / 0.27
    towards = np.sqrt(np.maximum(0, 1 - across**2 - up**2))
    ball = 0.08 + 0.7 * np.maximum(0, 0.5 * up - 0.4 * across + 0.77 * towards)
    light = np.where(towards > 0, ball, light)
    strands = 0.14 + 0.1 * np.sin(90 * (x + 0.15 * np.sin(5 * y)))
    light = np.where(x > 0.75, strands, light)
    return np.asarray(1 - np.clip(light, 0, 1), dtype=np.float32)


def foreseen_error(bits: Bits, wanted: NDArray[np.float32], dot: Dot, motion: Motion) -> float:
    """Return what an eye sees to be wrong with dots in place of `wanted`, in L*, root mean square.

    A little more light than meant and a little less are in it. The picture's edge is left out.
    """
    unevenness = doubted(dot).unevenness
    even = replace(dot, unevenness=0.0)
    light, spacing_mm = motion.light(bits, dot), motion.recipe.line_spacing_mm
    squares = [
        _square(darkness(bits, lit(even, 1 + off), light), wanted, dot.black, spacing_mm)
        for off in (-unevenness, unevenness)
    ]
    return float(np.sqrt(np.mean(squares)))


def _square(
    shown: NDArray[np.floating[Any]], wanted: NDArray[np.float32], black: float, spacing_mm: float
) -> float:
    levels = [lightness(seen(1 - (1 - black) * one, spacing_mm)) for one in (shown, wanted)]
    inside = slice(_MARGIN_DOTS, -_MARGIN_DOTS)
    return float(np.mean((levels[0] - levels[1])[inside, inside] ** 2))
