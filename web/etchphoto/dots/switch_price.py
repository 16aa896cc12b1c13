"""What a switch of the beam may cost the picture: the more, the less the controller keeps up.

Each switch is a line of G-code. Where a recipe's finest dots ask for more lines a second than the
controller takes in, rows with fewer switches are faster ones.
"""

from typing import Final

from etchwire.catalogue.heads import SECONDS_PER_MINUTE, Head, Recipe

_STEPS_PER_MM: Final = 80.0  # usual, where nobody has asked the controller: common practice
LEAST_PRICE: Final = 8.0  # L*² of one dot: a tenth fewer switches, and no more error (measured)
FULL_PRICE: Final = 12.0  # a fifth fewer, for a per cent more error


def switch_price(head: Head, recipe: Recipe) -> float:
    """Return what each switch more along a row has to win, in L*² of one dot."""
    feed_mm_per_s = recipe.feed_mm_per_min / SECONDS_PER_MINUTE
    costs = head.controller.costs
    left = 1 - costs.interrupt_share(feed_mm_per_s * _STEPS_PER_MM)
    taken_per_s = left / (costs.read_s + costs.answer_s)
    asked_per_s = feed_mm_per_s / recipe.line_spacing_mm
    late = min(1.0, max(0.0, asked_per_s / taken_per_s - 1))
    return LEAST_PRICE + (FULL_PRICE - LEAST_PRICE) * late
