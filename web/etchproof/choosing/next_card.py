"""Which test card comes next for a laser on a surface; without numpy, for page and command.

The order is the one in which each card stands on those before it: a power card needs focus, a
spacing card a recipe that blackens the surface, greys the spacing they are etched with. Once it is
known where rows meet, cards are etched both ways, as pictures are, in less time.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Self

from etchproof.card import FOCUS, POWER, REGISTER, SPACING, TONE
from etchwire.calls.catalogue import RecipeEntry
from etchwire.catalogue.heads import Head


@dataclass(frozen=True, slots=True, kw_only=True)
class PairState:
    """What is known of a laser on a surface; `kinds_read` are the cards of both that were read."""

    is_spot_unknown: bool
    is_spot_measured: bool
    has_recipe: bool
    has_greys: bool
    is_register_measured: bool
    kinds_read: frozenset[str]

    @classmethod
    def of(cls, head: Head, recipe: RecipeEntry | None, kinds_read: Iterable[str]) -> Self:
        """Return the state of `head` with the recipe in force, None without one."""
        return cls(
            is_spot_unknown=head.is_spot_unknown,
            is_spot_measured=head.is_spot_measured,
            has_recipe=recipe is not None,
            has_greys=recipe is not None and recipe.tone_curve is not None,
            is_register_measured=head.register.is_measured,
            kinds_read=frozenset(kinds_read),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCard:
    """A kind of card, when it is due, and why, in a sentence."""

    kind: str
    is_due: Callable[[PairState], bool]
    why: str

    @property
    def name(self) -> str:
        """What the page calls it: the first one that most people need is just a test card."""
        return "test card" if self.kind == POWER else f"{self.kind} card"


NEXT_CARDS: Final = (
    NextCard(
        kind=FOCUS,
        is_due=lambda pair: pair.is_spot_unknown and not pair.has_recipe and not pair.kinds_read,
        why="The spot is not measured. A focus card shows how high the laser must stand and how"
        " wide its spot is.",
    ),
    NextCard(
        kind=POWER,
        is_due=lambda pair: not pair.has_recipe,
        why="One test card shows which speed and power suit this laser on this tile and paint.",
    ),
    NextCard(
        kind=REGISTER,
        is_due=lambda pair: not pair.is_register_measured,
        why="A register card shows whether rows etched to the left meet those etched to the"
        " right: then pictures are etched both ways, in less time.",
    ),
    NextCard(  # a stated spot says enough, and a measured one only where the lines close
        kind=SPACING,
        is_due=lambda pair: (
            pair.is_spot_measured and not pair.has_greys and SPACING not in pair.kinds_read
        ),
        why="A spacing card shows how far apart lines may lie: the coarsest that still close are"
        " the fastest.",
    ),
    NextCard(
        kind=TONE,
        is_due=lambda pair: not pair.has_greys,
        why="A tone card shows how greys come out, so that a photo looks on the tile as it should.",
    ),
)


def next_card(pair: PairState) -> NextCard | None:
    """Return the card that is due first; None where the pair is ready for pictures."""
    return next((one for one in NEXT_CARDS if one.is_due(pair)), None)
