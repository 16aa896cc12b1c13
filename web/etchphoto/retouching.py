"""Retouching: a face lightened inside an oval, a background faded to white.

Both are done last, on the luminance that the tile shall show, so that the faded background is the
bare tile whatever the tones are. The page's script does the same sums.
"""

from dataclasses import dataclass, replace
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from etchphoto.errors import UnfitOrder
from etchphoto.framing import Crop

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Which dots of a picture are at hand: those from row `top` and column `left` on.

    `rows` and `columns` are the whole picture's.
    """

    top: int
    left: int
    rows: int
    columns: int

    def below(self, rows: int) -> "Part":
        """Return the part that begins so many rows further down."""
        return replace(self, top=self.top + rows)


MOST: Final = 100.0
FULL_STOPS: Final = 2.0  # what lightening by 100 does to the shadows, as a camera counts light
_CORE: Final = 0.6  # of the oval's radius is lightened fully; from there on less and less
# Where the fade has come to white, as a share of the picture's half sides: begun outside its
# corners at 0, and so far in at 100. It begins a soft width further in.
_FADE_FROM, _FADE_TO, _FADE_WIDTH = 1.82, 0.55, 0.4


@dataclass(frozen=True, slots=True)
class Oval:
    """An oval's centre from the top left and its half axes, in shares of the picture's sides."""

    x: float
    y: float
    half_width: float
    half_height: float

    def within(self, part: Crop) -> Self:
        """Return the same oval in shares of `part` of the picture."""
        wide, high = part.right - part.left, part.bottom - part.top
        return type(self)(
            (self.x - part.left) / wide,
            (self.y - part.top) / high,
            self.half_width / wide,
            self.half_height / high,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Retouching:
    """How much is lightened inside `oval`, and how far the background is faded: 0 to 100 each."""

    oval: Oval | None = None
    lightening: float = 0.0
    fade: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no amount, and an oval without an inside."""
        for name, amount in (("lightening", self.lightening), ("the fade", self.fade)):
            if not 0 <= amount <= MOST:
                raise UnfitOrder(f"{name} must be between 0 and 100, not {amount!r}")
        if self.oval and not (self.oval.half_width > 0 and self.oval.half_height > 0):
            raise UnfitOrder("the oval to lighten has no inside: draw it larger")

    def within(self, part: Crop) -> Self:
        """Return the same for `part` of the picture; the fade is always the part's own."""
        oval = self.oval.within(part) if self.oval else None
        return type(self)(oval=oval, lightening=self.lightening, fade=self.fade)

    def apply(self, luminance: Floats, part: Part | None = None) -> Floats:
        """Return the luminance, 0 to 1, of a part of a picture, or of all of it, retouched."""
        part = part or whole_of(luminance)
        if self.oval and self.lightening:
            stops = FULL_STOPS * self.lightening / MOST
            gain = 2.0 ** (stops * (1 - _softly(_away(self.oval, luminance, part), _CORE, 1)))
            luminance = gain * luminance / (1 + (gain - 1) * luminance)  # black and white stay
        if self.fade:
            white_at = _FADE_FROM + (_FADE_TO - _FADE_FROM) * self.fade / MOST
            far = _away(_WHOLE, luminance, part)
            veil = _softly(far, white_at - _FADE_WIDTH, white_at)
            luminance = luminance * (1 - veil) + veil  # exactly white where the veil is whole
        return luminance


_WHOLE: Final = Oval(0.5, 0.5, 0.5, 0.5)
NOT_RETOUCHED: Final = Retouching()


def whole_of(picture: Floats) -> Part:
    """Return the part that is all of a picture."""
    return Part(top=0, left=0, rows=picture.shape[0], columns=picture.shape[1])


def _away(oval: Oval, dots: Floats, part: Part) -> Floats:
    """Return how far each dot of a part lies from the oval's centre: 1 on the oval."""
    deep, wide = dots.shape
    x_share = (np.arange(part.left, part.left + wide) + 0.5) / part.columns
    y_share = (np.arange(part.top, part.top + deep) + 0.5) / part.rows
    x, y = (x_share - oval.x) / oval.half_width, (y_share - oval.y) / oval.half_height
    return np.asarray(np.hypot(x, y[:, np.newaxis]))


def _softly(values: Floats, low: float, high: float) -> Floats:
    """Return 0 up to `low`, 1 from `high` on, and between them a rise without a corner."""
    share = np.clip((values - low) / (high - low), 0, 1)
    return np.asarray(share * share * (3 - 2 * share))
