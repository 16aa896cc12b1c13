"""Whether single dots darken at all with a recipe, and what more dose would win.

A recipe that just blackens a solid may leave single dots pale: all greys then come from clusters of
dots, which are seen as grain. The tone card's dot tells it, and foresees a slower recipe.
"""

from dataclasses import dataclass, replace
from typing import Final

from etchphoto.dots.gain import foreseen_search_error
from etchphoto.dots.speeds import Motion, lit
from etchproof.card import Card
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.heads import is_high_dose

# Of a solid's light (our choices). On an invented thick coat whose dots began to darken at 0.45 a
# portrait was 4.3 L* off what the tile can hold; with a third more dose 3.0.
PALE_THRESHOLD: Final = 0.4
CALM_THRESHOLD: Final = 1 / 3
LEAST_WORTH_L: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class PaleDots:
    """What dots leave wrong, in L* at arm's length, with this recipe and with a slower one."""

    error_l: float
    slower_error_l: float
    slower_mm_per_min: float
    power_ratio: float
    longer: float  # by what factor an etch takes longer

    @property
    def sentence(self) -> str:
        """What it means, for a person."""
        return (
            "Single dots hardly darken with this recipe, so greys come out grainy: off by about "
            f"{self.error_l:.1f} steps of lightness at arm's length. At "
            f"{self.slower_mm_per_min:.0f} mm/min with {self.power_ratio * 100:.3g} % it would be "
            f"about {self.slower_error_l:.1f}, and an etch would take {self.longer * 100 - 100:.0f}"
            " % longer. Check on a power card that this does no harm, then etch a new tone card."
        )


def pale_dots(card: Card, dot: Dot) -> PaleDots | None:
    """Return what more dose would win where single dots of this tone card are pale, else None."""
    if dot.threshold <= PALE_THRESHOLD:
        return None
    more = dot.threshold / CALM_THRESHOLD
    slower = replace(card.recipe, feed_mm_per_min=card.recipe.feed_mm_per_min / more)
    if is_high_dose(slower.dose_j_per_mm2(card.head)):
        return None
    error_l, slower_error_l = (
        foreseen_search_error(lit(dot, light), Motion(card.head, recipe))
        for light, recipe in ((1.0, card.recipe), (more, slower))
    )
    if error_l - slower_error_l < LEAST_WORTH_L:
        return None
    return PaleDots(
        error_l=error_l,
        slower_error_l=slower_error_l,
        slower_mm_per_min=slower.feed_mm_per_min,
        power_ratio=slower.power_ratio,
        longer=more,
    )
