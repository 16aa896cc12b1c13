"""The path of a newcomer: which steps lead to the first picture, and which comes next. Pure.

Two tables say it: the steps with their words, and what comes next, the first row that applies. The
state is worked out from the records each time, so nothing of the path is stored: whoever leaves it
finds it again where the records are.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Final, Self, TypeVar

from etchproof.choosing.next_card import NextCard, PairState, next_card
from etchwire.calls.catalogue import CardEntry, HeadEntry, RecipeEntry, SurfaceEntry
from etchwire.calls.history import RunSummary

Entry = TypeVar("Entry", HeadEntry, SurfaceEntry)
_COMPLETE: Final = "complete"


class Step(IntEnum):
    """The steps, in their order."""

    LASER = 1
    SURFACE = 2
    CARD = 3
    RECIPE = 4
    PICTURE = 5


# What a step is called, and what happens in it.
STEPS: Final[Mapping[Step, tuple[str, str]]] = {
    Step.LASER: ("Laser", "Its name, its watts, its spot."),
    Step.SURFACE: ("Tile and paint", "What you etch on, under a name of your choice."),
    Step.CARD: ("Test card", "The laser etches patches from weak to strong on a spare tile."),
    Step.RECIPE: ("Recipe", "A photo of the wiped card gives speed and power."),
    Step.PICTURE: ("Picture", "A photo of yours, with that recipe."),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxRecords:
    """What a box knows that has etched no picture; the last few cards, newest first."""

    heads: Sequence[HeadEntry]
    surfaces: Sequence[SurfaceEntry]
    cards: Sequence[CardEntry]
    recipes: Sequence[RecipeEntry]


def has_picture(cards: Sequence[CardEntry], runs: Sequence[RunSummary]) -> bool:
    """Return whether something else than a test card was etched to its end: the path is over."""
    of_cards = {card.gcode_sha256 for card in cards}
    return any(run.ended == _COMPLETE and run.gcode_sha256 not in of_cards for run in runs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What of the records decides the next step."""

    head: HeadEntry | None
    surface: SurfaceEntry | None
    card: CardEntry | None  # the newest of that laser on that surface
    recipe: RecipeEntry | None
    kinds_read: frozenset[str]  # of cards of that laser on that surface

    @classmethod
    def of(cls, records: BoxRecords) -> Self:
        """Return what is known of the pair in hand: the recipe's, else the newest card's."""
        recipe = next((one for one in records.recipes if one.is_in_force), None)
        of_pair = recipe or next(iter(records.cards), None)
        head = _chosen(records.heads, of_pair.head if of_pair else None)
        surface = _chosen(records.surfaces, of_pair.surface if of_pair else None)
        pair = (head and head.name, surface and surface.name)
        cards = [one for one in records.cards if (one.head, one.surface) == pair]
        return cls(
            head=head,
            surface=surface,
            card=next(iter(cards), None),
            recipe=recipe,
            kinds_read=frozenset(one.kind for one in cards if one.reading_id is not None),
        )

    @property
    def pair_key(self) -> str:
        """The pair as forms have it; empty while there is none."""
        if self.head is None or self.surface is None:
            return ""
        return json.dumps([self.head.name, self.surface.name])

    @property
    def card_number(self) -> int:
        """The newest card's number, 0 without one."""
        return 0 if self.card is None else self.card.number

    @property
    def is_card_etched(self) -> bool:
        """Whether the newest card was etched to its end."""
        return self.card is not None and self.card.run_ended == _COMPLETE

    @property
    def is_card_open(self) -> bool:
        """Whether the newest card has not been read."""
        return self.card is not None and self.card.reading_id is None

    @property
    def next_card(self) -> NextCard | None:
        """The card that is due first; None without a laser, or where nothing is left to find."""
        if self.head is None:
            return None
        return next_card(PairState.of(self.head.head, self.recipe, self.kinds_read))


def _chosen(known: Sequence[Entry], name: str | None) -> Entry | None:
    """Return the entry of that name, else the one described last."""
    named = next((one for one in known if one.name == name), None)
    return named or max(known, key=lambda one: one.changed_at_utc, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRow:
    """What comes next where `applies`: its sentence, and the button that leads to `endpoint`.

    `at_work` are the endpoints where that is being done: there the button is left out.
    """

    step: Step
    applies: Callable[[Known], bool]
    says: str
    button: str
    endpoint: str
    args: Callable[[Known], Mapping[str, Any]] = lambda _: {}
    at_work: tuple[str, ...] = ()


def _card(known: Known) -> Mapping[str, Any]:
    return {"number": known.card_number}


def _new_card(known: Known) -> Mapping[str, Any]:
    due = known.next_card
    return {"finds": due.kind if due else "", "pair": known.pair_key}


NEXT: Final = (
    NextRow(
        step=Step.LASER,
        applies=lambda known: known.head is None,
        says="This box knows no laser yet. Three questions; the rest comes from the controller.",
        button="Describe the laser",
        endpoint="craft.lasers",
        args=lambda _: {"_anchor": "describe"},
        at_work=("craft.lasers", "craft.describe_laser"),
    ),
    NextRow(
        step=Step.SURFACE,
        applies=lambda known: known.surface is None,
        says="Now what you etch on. A name is enough.",
        button="Name tile and paint",
        endpoint="craft.surfaces",
        args=lambda _: {"_anchor": "describe"},
        at_work=("craft.surfaces", "craft.describe_surface"),
    ),
    NextRow(
        step=Step.PICTURE,
        applies=lambda known: known.recipe is not None,
        says="The recipe is ready. Choose a photo, and put in a new tile.",
        button="Etch the first picture",
        endpoint="new_picture.show",
        args=lambda known: {"pair": known.pair_key},
        at_work=("new_picture.show",),
    ),
    NextRow(
        step=Step.CARD,
        applies=lambda known: known.is_card_open and not known.is_card_etched,
        says="Test card {number} is made and not etched yet.",
        button="Etch test card {number}",
        endpoint="cards.show_card",
        args=_card,
        at_work=("cards.show_card",),
    ),
    NextRow(
        step=Step.RECIPE,
        applies=lambda known: known.is_card_open,
        says="Test card {number} is etched. Let it cool, wipe it outside the box, and photograph"
        " it.",
        button="Photograph it",
        endpoint="cards.show_card",
        args=lambda known: {**_card(known), "_anchor": "photo"},
        at_work=("cards.show_card",),
    ),
    NextRow(
        step=Step.CARD,
        applies=lambda _: True,
        says="{why}",
        button="Make a {name}",
        endpoint="cards.new",
        args=_new_card,
        at_work=("cards.new",),
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PathState:
    """Where a newcomer is, and what comes next."""

    known: Known
    next: NextRow

    @property
    def steps(self) -> list[tuple[str, str, str]]:
        """Every step: its name, what was done in it or will be, and how it stands."""
        here = self.next.step
        return [
            (name, self._done_words(step), "done")
            if step < here
            else (name, words, "here" if step == here else "to-come")
            for step, (name, words) in STEPS.items()
        ]

    @property
    def says(self) -> str:
        """What comes next, in a sentence."""
        return self._filled(self.next.says)

    @property
    def button(self) -> str:
        """The words of the button that leads there."""
        return self._filled(self.next.button)

    @property
    def args(self) -> Mapping[str, Any]:
        """What the address of the next step takes."""
        return self.next.args(self.known)

    @property
    def before_picture(self) -> NextCard | None:
        """A card that would make the first picture better or faster; None where none is due."""
        is_due = self.next.step is Step.PICTURE and not self.known.is_card_open
        return self.known.next_card if is_due else None

    def _filled(self, words: str) -> str:
        due = self.known.next_card
        return words.format(
            number=self.known.card_number, why=due.why if due else "", name=due.name if due else ""
        )

    def _done_words(self, step: Step) -> str:
        known = self.known
        made = {
            Step.LASER: known.head and known.head.name,
            Step.SURFACE: known.surface and known.surface.name,
            Step.CARD: known.card and f"Test card {known.card.number}",
        }
        return made.get(step) or ""


def path_of(records: BoxRecords) -> PathState:
    """Return where a newcomer is on the path, and what comes next."""
    known = Known.of(records)
    return PathState(known=known, next=next(row for row in NEXT if row.applies(known)))
