"""What a person asks for when they want a card: what to find out, for which laser and surface."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, Self

from etchphoto.tone import GUESSED_BLACK
from etchproof.card import Card
from etchproof.errors import HighDose, UnfitCard
from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.check_strip import lay_out_check_strip
from etchproof.layout.etching import etching_time_s, in_words
from etchproof.layout.focus_card import WedgeRequest, lay_out_focus_card
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import SIZES, WEAK_SIZE, lay_out_power_card
from etchproof.layout.ranges import Range, starting_range
from etchproof.layout.reach import photo_reach_mm_per_min
from etchproof.layout.register_card import lay_out_register_card
from etchproof.layout.reserve_card import lay_out_reserve_card
from etchproof.layout.spacing_card import lay_out_spacing_card
from etchproof.layout.tone_card import DEFAULT_STEPS, lay_out_tone_card
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, Head, Recipe, is_high_dose
from etchwire.errors import UnreadableSheet

FIRST_STEPS: Final = (5, 6)
QUICK_S: Final = 780.0  # of a first card; a longer one gets smaller patches (our choice)
SMALLER: Final = (  # steps, and the size that they have
    (5, 4, SIZES[-1]), (4, 3, SIZES[-1]), (4, 3, WEAK_SIZE), (3, 3, WEAK_SIZE),
)  # fmt: skip
LONGEST_S: Final = 3600.0  # of a first card; a longer one is offered in two stages (our choice)
STRIP_S: Final = 900.0  # of a check strip at 10 W; what takes longer says so
BESIDE: Final = (
    "If a spacing card is still to be made, etch it beside this one before you wipe the tile: one "
    "photo shows both."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardOrder:
    """A card to be laid out; `kind` is a key of KINDS.

    `recipe` is what all but a power card are burnt with; a focus card can do without and has a
    `wedge` instead. Feeds and powers bound a power card; left out, they are those that suit lasers
    of this rating. So are the steps: as many as are etched within an hour. `is_high_dose_meant` is
    the person's word that more dose than any surface needs is on purpose.
    """

    kind: str
    wishes: CardRequest
    recipe: Recipe | None = None
    feeds_mm_per_min: tuple[float, float] | None = None
    power_ratios: tuple[float, float] | None = None
    steps: tuple[int, int] | None = None
    greys: int = DEFAULT_STEPS
    black: float = GUESSED_BLACK
    is_high_dose_meant: bool = False
    wedge: WedgeRequest | None = None

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """Build from plain values; raise UnfitCard."""
        entries = dict(table)
        wishes = dict(entries.pop("wishes"))
        recipe = entries.pop("recipe", None)
        pairs = ("feeds_mm_per_min", "power_ratios", "steps")
        for name in pairs:
            if entries.get(name) is not None:
                entries[name] = tuple(entries[name])
        try:
            if entries.get("wedge") is not None:
                entries["wedge"] = WedgeRequest(**entries["wedge"])
            head = Head.from_table(wishes.pop("head"))
            place = Place(*wishes.pop("place_mm"))
            return cls(
                wishes=CardRequest(head=head, place=place, **wishes),
                recipe=None if recipe is None else Recipe.from_table(recipe),
                **{name: value for name, value in entries.items() if value is not None},
            )
        except (UnreadableSheet, TypeError) as error:
            raise UnfitCard(str(error)) from error


def lay_out(order: CardOrder) -> Card:
    """Return the card; raise UnfitCard or CardDoesNotFit, with a sentence that says what would."""
    lay_out_kind = KINDS.get(order.kind)
    if lay_out_kind is None:
        raise UnfitCard(f"there is no card {order.kind!r}: choose one of {', '.join(KINDS)}")
    return lay_out_kind(order)


def asked_grid(order: CardOrder, steps: tuple[int, int]) -> Grid:
    """Return speeds and powers as asked for, or as they suit lasers of this rating.

    Raise HighDose where what was asked for goes beyond what any surface needs.
    """
    wishes = order.wishes
    reach = photo_reach_mm_per_min(wishes.head, wishes.line_spacing_mm, wishes.halftone)
    usual = starting_range(wishes.head, reach)
    if order.feeds_mm_per_min is None and order.power_ratios is None:
        grid = Grid.over(usual, *steps)
        if order.is_high_dose_meant:
            return grid
        return grid.without_more_dose(MOST_DOSE_J_PER_MM2, wishes.head, wishes.line_spacing_mm)
    low_feed, high_feed = order.feeds_mm_per_min or (
        usual.low_feed_mm_per_min,
        usual.high_feed_mm_per_min,
    )
    low, high = order.power_ratios or (usual.low_power_ratio, usual.high_power_ratio)
    asked = Range(
        low_feed_mm_per_min=low_feed,
        high_feed_mm_per_min=high_feed,
        low_power_ratio=low,
        high_power_ratio=high,
    )
    grid = Grid.over(asked, *steps)
    dose = grid.strongest_dose_j_per_mm2(wishes.head, wishes.line_spacing_mm)
    _require_meant(order, dose, "the slowest speed with the highest power")
    return grid


def _require_meant(order: CardOrder, dose_j_per_mm2: float, what: str) -> None:
    if is_high_dose(dose_j_per_mm2) and not order.is_high_dose_meant:
        raise HighDose(
            f"{what} gives {dose_j_per_mm2:.0f} J/mm², and no surface is known to need more than "
            f"{MOST_DOSE_J_PER_MM2:g}: ask for faster speeds or less power, or say that so much is "
            "meant"
        )


def _recipe_of(order: CardOrder) -> Recipe:
    """Return its recipe; raise UnfitCard without one, HighDose for one beyond what any needs."""
    if order.recipe is None:
        raise UnfitCard("this card is burnt with a recipe, and there is none: burn a power card")
    _require_meant(order, order.recipe.dose_j_per_mm2(order.wishes.head), "the recipe")
    return order.recipe


def _power(order: CardOrder) -> Card:
    grid = asked_grid(order, order.steps or FIRST_STEPS)
    whole = lay_out_power_card(order.wishes, grid)
    whole_s = etching_time_s(whole)
    if order.steps is not None:
        if whole_s <= LONGEST_S:
            return whole
        return _with_note(whole, f"This card takes {in_words(whole_s)} to etch.")
    card, its_s = whole, whole_s
    for largest in range(1, len(SIZES)):
        if its_s <= QUICK_S:
            return card
        card = lay_out_power_card(order.wishes, grid, SIZES[largest:])
        its_s = etching_time_s(card)
    if its_s <= LONGEST_S:
        return card
    for speeds, powers, size in SMALLER:
        card = lay_out_power_card(order.wishes, asked_grid(order, (speeds, powers)), (size,))
        its_s = etching_time_s(card)
        if its_s <= LONGEST_S:
            break
    return _with_note(
        card,
        f"With {FIRST_STEPS[0]} speeds and {FIRST_STEPS[1]} powers this card would take "
        f"{in_words(whole_s)}. This one has small patches, {speeds} speeds and {powers} powers, "
        f"and takes {in_words(its_s)}: a first stage, after which a finer card looks round its "
        "best patch. To have it differently, say how many speeds and powers you want.",
    )


def _with_note(card: Card, note: str) -> Card:
    return replace(card, notes=(*card.notes, note))


def _five(order: CardOrder) -> Card:
    grid = Grid.round_recipe(_recipe_of(order), order.wishes.head)
    return lay_out_power_card(order.wishes, grid)


def _tone(order: CardOrder) -> Card:
    return lay_out_tone_card(order.wishes, _recipe_of(order), steps=order.greys, black=order.black)


def _register(order: CardOrder) -> Card:
    card, head = lay_out_register_card(order.wishes, _recipe_of(order)), order.wishes.head
    is_spacing_due = head.is_spot_measured and not head.register.is_measured
    return _with_note(card, BESIDE) if is_spacing_due else card


def _focus(order: CardOrder) -> Card:
    if order.wedge is None:
        raise UnfitCard(
            "a focus card is burnt on a wedge: say how high the tile's ends stand and how long it "
            "is"
        )
    recipe = None if order.recipe is None else _recipe_of(order)
    whole = lay_out_focus_card(order.wishes, recipe, order.wedge)
    whole_s = etching_time_s(whole)
    if whole_s <= LONGEST_S:
        return whole
    quick = lay_out_focus_card(order.wishes, recipe, order.wedge, is_quick=True)
    return _with_note(
        quick,
        f"With as many heights as usual this card would take {in_words(whole_s)}. This one has "
        f"fewer and takes {in_words(etching_time_s(quick))}.",
    )


def _reserve(order: CardOrder) -> Card:
    return lay_out_reserve_card(order.wishes, _recipe_of(order))


def _check(order: CardOrder) -> Card:
    strip = lay_out_check_strip(order.wishes, _recipe_of(order))
    its_s = etching_time_s(strip)
    if its_s <= STRIP_S:
        return strip
    return _with_note(strip, f"With this recipe the strip takes {in_words(its_s)} to etch.")


def _spacing(order: CardOrder) -> Card:
    return lay_out_spacing_card(order.wishes, _recipe_of(order))


KINDS: Final[Mapping[str, Callable[[CardOrder], Card]]] = {
    "power": _power,
    "five": _five,
    "tone": _tone,
    "register": _register,
    "focus": _focus,
    "check": _check,
    "reserve": _reserve,
    "spacing": _spacing,
}
