"""A dot in figures: what one laser with one recipe leaves on one surface.

A row is a line of light, on along each of its dots and spread by a Gaussian both ways. Where the
light adds up to more than a threshold the surface darkens, soon as far as it can:

    darkness = 1 - exp(-((exposure - threshold) / scale)^steepness)

divided by that of a solid area. Exposure is 1 on average in a solid area at the recipe's speed.
Where the head runs slower, dynamic power is lower by about the same share, and exposure changes
with power^(power exponent) / speed. The law is an assumption, fitted to the steps of a tone card;
it is not the practice machine's.
"""

from dataclasses import dataclass
from typing import Final

from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_positive, require_types

LEAST_SPREAD_DOTS: Final = 0.15
MOST_SPREAD_DOTS: Final = 2.5
MOST_UNEVENNESS: Final = 0.5
MOST_POWER_EXPONENT: Final = 4.0

# What is usual, where a tone card says nothing else: our assumption, but for the power exponent.
USUAL_THRESHOLD: Final = 0.2
USUAL_SCALE: Final = 0.3
USUAL_STEEPNESS: Final = 1.5
# Usual settings of 5, 10 and 20 W lie on speed ~ power^1.9 (common practice, no source).
USUAL_POWER_EXPONENT: Final = 1.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot(Plain):
    """The law's four figures, and what else a tone card says.

    `black` is what a solid area reflects beside bare tile; `unevenness` by what share the coat
    makes the light count for more or less from place to place; `fit_error` the root mean square
    by which the law misses the reflectance of the card's steps. `power_exponent` says how much
    power counts against time; 1, as for dots fitted without it, says as much.
    """

    spread_dots: float
    threshold: float
    scale: float
    steepness: float
    black: float
    unevenness: float = 0.0
    fit_error: float = 0.0
    power_exponent: float = 1.0

    def __post_init__(self) -> None:
        """Refuse figures that make no dot."""
        require_types("the dot", self)
        for name in ("scale", "steepness"):
            require_positive(f"the dot's {name}", getattr(self, name))
        is_fit = (
            LEAST_SPREAD_DOTS <= self.spread_dots <= MOST_SPREAD_DOTS
            and 0 <= self.threshold < 1
            and 0 <= self.black < 1
            and 0 <= self.unevenness <= MOST_UNEVENNESS
            and 0 <= self.fit_error <= 1
            and 1 <= self.power_exponent <= MOST_POWER_EXPONENT
        )
        if not is_fit:
            raise UnreadableSheet("these are no figures of a dot: read the tone card again")
