"""Which other cards, and what of a recipe, a card is read with; without numpy, for the page."""

from collections.abc import Mapping
from typing import Final

from etchproof.card import CHECK, POWER, SPACING, TONE
from etchwire.calls.catalogue import RecipeEntry

# Of a recipe in force, what a check strip compares and keeps.
IN_FORCE: Final = (
    "feed_mm_per_min", "power_ratio", "line_spacing_mm", "air_assist", "halftone", "tone_curve",
    "card_number",
)  # fmt: skip

# What wears a strip in a durability trial, and how often at most.
TREATMENTS: Final = ("scouring", "thinner", "dishwasher", "freezing")
MOST_CYCLES: Final = 100_000

# The kinds of earlier cards that a card of a kind is read together with.
EARLIER_KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    POWER: (POWER, CHECK),
    CHECK: (POWER, CHECK),
    SPACING: (POWER, CHECK),
    TONE: (POWER,),
}
# Cards of a kind before this one that keep the standard and help the curve; besides these the
# first power card, whose patches show how much dose is too much.
EARLIER: Final = 5


def recipe_table(kept: RecipeEntry) -> dict[str, object]:
    """Return a recipe of the logbook as `CardEvidence.in_force` has it."""
    return {name: getattr(kept, name) for name in IN_FORCE}
