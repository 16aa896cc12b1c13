"""Tone: how much of the area to burn for each luminance of the photo.

The tile has two colours, bare white (reflectance Rw) and fired black (Rb). Burning the share
`a` of an area gives it Rw - a (Rw - Rb) (Murray-Davies). The photo's white shall be the bare
tile and its black the fired one, with everything between in proportion, so it shall reflect
Rb + Y (Rw - Rb): whatever the two reflectances are, a = 1 - Y. That is the coverage *wanted*.
Fired black reflects some light, so in proportion to light a photo's shadows come out darker beside
its black than an eye saw them. They may be opened half-way to equal steps of lightness L*.
How much must be *burnt* for it depends on how far a dot spreads on one surface, which only a
tone card can show: until one was read, the tone curve leaves it as it is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from etchphoto.detail import with_detail
from etchphoto.errors import UnfitOrder
from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.retouching import NOT_RETOUCHED, Part, Retouching, whole_of

ROWS_AT_ONCE: Final = 256
MID_LIGHTNESS: Final = 50.0
# What fired black reflects beside the bare tile, until a card says it: a guess.
GUESSED_BLACK: Final = 0.08
_FULLY_OPEN: Final = 0.5  # of the way to equal steps of lightness: beyond it a photo looks flat


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustments:
    """Changes to the photo's lightness L*, as an eye would ask for them; the default changes none.

    `local_contrast` and `sharpness` (0 adds none, 1 doubles it) look at what lies round a dot;
    `gamma` above 1 brightens the middle tones and leaves black and white; `contrast` stretches
    about the middle; `brightness` adds points of L*, of which white has 100. At last
    `open_shadows`, 0 to 100, leads from a tile that is linear in light half-way to one that has the
    photo's lightness between its own black and white in equal steps.
    """

    brightness: float = 0.0
    contrast: float = 1.0
    gamma: float = 1.0
    local_contrast: float = 0.0
    sharpness: float = 0.0
    open_shadows: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what would leave no picture."""
        if not (math.isfinite(self.brightness) and -100 < self.brightness < 100):
            raise UnfitOrder(
                f"brightness must be between -100 and 100 points of lightness, not "
                f"{self.brightness!r}"
            )
        for name, value in (("contrast", self.contrast), ("gamma", self.gamma)):
            if not (math.isfinite(value) and 0.1 <= value <= 10):
                raise UnfitOrder(f"{name} must be between 0.1 and 10, not {value!r}")
        if not (math.isfinite(self.open_shadows) and 0 <= self.open_shadows <= 100):
            raise UnfitOrder(f"open shadows must be between 0 and 100, not {self.open_shadows!r}")
        detail = (("local contrast", self.local_contrast), ("sharpness", self.sharpness))
        for name, value in detail:
            if not (math.isfinite(value) and 0 <= value <= 5):
                raise UnfitOrder(f"{name} must be between 0 and 5, not {value!r}")

    @property
    def has_detail(self) -> bool:
        """Whether a dot depends on what lies round it."""
        return self.local_contrast > 0 or self.sharpness > 0

    def apply(
        self, luminance: NDArray[np.floating[Any]], black: float = GUESSED_BLACK
    ) -> NDArray[np.floating[Any]]:
        """Return the luminance, 0 to 1, with all that looks at each dot for itself.

        `black` is what fired black reflects beside the bare tile.
        """
        return opened(self._adjusted(luminance), self.open_shadows, black)

    def _adjusted(self, luminance: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        if (self.gamma, self.contrast, self.brightness) == (1, 1, 0):
            return luminance
        values = lightness(luminance)
        if self.gamma != 1:
            values = 100 * (values / 100) ** (1 / self.gamma)
        values = (values - MID_LIGHTNESS) * self.contrast + MID_LIGHTNESS + self.brightness
        return luminance_of_lightness(np.clip(values, 0, 100))


def opened(
    luminance: NDArray[np.floating[Any]], open_shadows: float, black: float
) -> NDArray[np.floating[Any]]:
    """Return the luminance, 0 to 1, of which a tile linear in light shows the shadows opened.

    At 0 it is the photo's; at 100 the tile's lightness lies in the middle between that of a tile
    linear in light and its black's plus the photo's share of the way to white (CIE 1976 L*).
    """
    if not open_shadows:
        return luminance
    darkest = lightness(np.array(black))
    linear = lightness(black + luminance * (1 - black))
    equal = darkest + lightness(luminance) / 100 * (100 - darkest)
    shown = linear + _FULLY_OPEN * open_shadows / 100 * (equal - linear)
    return np.asarray((luminance_of_lightness(shown) - black) / (1 - black))


def _rises(values: Sequence[float], *, is_strict: bool) -> bool:
    return all(low < high or (low == high and not is_strict) for low, high in pairwise(values))


@dataclass(frozen=True, slots=True)
class ToneCurve:
    """What share to burn so that a wanted share looks burnt, as measured on one surface.

    A table of rising `wanted` shares from 0 to 1 and the never falling shares `to_burn` for
    them, straight between its points.
    """

    wanted: tuple[float, ...] = (0.0, 1.0)
    to_burn: tuple[float, ...] = (0.0, 1.0)

    def __post_init__(self) -> None:
        """Refuse a table that does not say one thing for every share."""
        is_rising = _rises(self.wanted, is_strict=True) and _rises(self.to_burn, is_strict=False)
        spans_all = self.wanted[:1] == (0.0,) and self.wanted[-1:] == (1.0,)
        is_share = all(0 <= share <= 1 for share in self.to_burn)
        if is_rising and spans_all and is_share and len(self.wanted) == len(self.to_burn):
            return
        raise UnfitOrder(
            "a tone curve needs wanted shares that rise from 0 to 1, and for each a share to burn "
            "between 0 and 1 that never falls: read the tone card again"
        )

    @classmethod
    def from_points(cls, points: Sequence[tuple[float, float]]) -> Self:
        """Build from (wanted, to burn) pairs in rising order."""
        return cls(tuple(wanted for wanted, _ in points), tuple(burn for _, burn in points))

    @property
    def is_identity(self) -> bool:
        """Whether every share is burnt as wanted."""
        return self.wanted == self.to_burn

    def apply(self, coverage: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """Return the share to burn for each wanted share."""
        if self.is_identity:
            return coverage
        return np.asarray(np.interp(coverage, self.wanted, self.to_burn))

    def looks_like(self, burnt: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """Return the share that looks burnt for each share that is, as `apply` turned round."""
        if self.is_identity:
            return burnt
        return np.asarray(np.interp(burnt, self.to_burn, self.wanted))


AS_PHOTOGRAPHED: Final = Adjustments()
BURNT_AS_WANTED: Final = ToneCurve()


def coverage_to_burn(
    luminance: NDArray[np.float32],
    adjustments: Adjustments = AS_PHOTOGRAPHED,
    curve: ToneCurve = BURNT_AS_WANTED,
    black: float = GUESSED_BLACK,
    *,
    retouching: Retouching = NOT_RETOUCHED,
    part: Part | None = None,
) -> NDArray[np.float32]:
    """Return the share of each dot's area to burn, 0 to 1, in the shape of `luminance`.

    `black` is what fired black reflects beside the bare tile; `retouching` is in shares of
    the picture, of which `luminance` is all, or this `part`.
    """
    part = part or whole_of(luminance)
    coverage = np.empty_like(luminance)
    if adjustments.has_detail:
        luminance = coverage = with_detail(
            luminance,
            local_contrast=adjustments.local_contrast,
            sharpness=adjustments.sharpness,
        )
    for first in range(0, len(luminance), ROWS_AT_ONCE):  # lightness is worked out in 64 bits
        rows = slice(first, first + ROWS_AT_ONCE)
        shown = adjustments.apply(luminance[rows], black)
        shown = retouching.apply(shown, part.below(first))
        coverage[rows] = curve.apply(1 - shown)
    return coverage
