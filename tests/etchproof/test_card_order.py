"""A card is asked for in plain values, and what makes none is refused in a sentence."""

import json

import pytest

from darkroom.cards import HEAD, RECIPE, first_grid
from etchproof.card import POWER, REGISTER, TONE
from etchproof.errors import CardDoesNotFit, UnfitCard
from etchproof.layout.card_order import KINDS, CardOrder, lay_out

WISHES = {
    "number": 7,
    "head": HEAD.to_table(),
    "surface": "an invented tile",
    "line_spacing_mm": 0.1,
    "halftone": "jarvis",
    "place_mm": [100.0, 100.0],
}


def ordered(kind, **more):
    recipe = None if kind == "power" else RECIPE.to_table()
    table = {"kind": kind, "wishes": WISHES, "recipe": recipe, **more}
    return lay_out(CardOrder.from_table(json.loads(json.dumps(table))))


def test_a_first_card_has_the_ranges_that_suit_the_laser():
    card = ordered("power")

    assert {patch.feed_mm_per_min for patch in card.patches} == set(first_grid().feeds_mm_per_min)


@pytest.mark.parametrize(
    ("kind", "is_of"), [("five", POWER), ("tone", TONE), ("register", REGISTER)]
)
def test_the_others_are_burnt_with_the_recipe(kind, is_of):
    card = ordered(kind)

    assert card.kind == is_of
    feeds = {one.feed_mm_per_min for one in (*card.patches, *card.hairlines)}
    assert RECIPE.feed_mm_per_min in feeds


def test_a_finer_card_has_the_ranges_asked_for():
    card = ordered("power", feeds_mm_per_min=[2000, 3000], power_ratios=[0.5, 0.7], steps=[3, 2])

    assert {
        min(p.feed_mm_per_min for p in card.patches),
        max(p.power_ratio for p in card.patches),
    } == {
        2000,
        0.7,
    }


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "wish"}, "choose one of power, five, tone, register"),
        ({"kind": "tone", "recipe": None}, "burn a power card"),
        ({"kind": "power", "wishes": WISHES | {"number": 0}}, "numbered from 1"),
        ({"kind": "power", "wishes": WISHES | {"line_spacing_mm": -1}}, "line spacing"),
        ({"kind": "power", "wishes": WISHES | {"head": {}}}, "lacks the entry"),
        ({"kind": "power", "wishes": WISHES | {"odd": 1}}, "odd"),
        ({"kind": "power", "power_ratios": [0.7, 0.5]}, "power"),
        ({"kind": "power", "steps": [1, 1]}, "compares 2 to 12"),
    ],
)
def test_what_makes_no_card_is_refused(change, words):
    table = {"kind": "power", "wishes": WISHES} | change

    with pytest.raises(UnfitCard, match=words):
        lay_out(CardOrder.from_table(table))


def test_a_card_larger_than_its_place_says_what_would_fit():
    with pytest.raises(CardDoesNotFit, match="mm"):
        lay_out(CardOrder.from_table({"kind": "power", "wishes": WISHES | {"place_mm": [20, 20]}}))


def test_every_kind_has_a_layout():
    assert set(KINDS) == {"power", "five", "tone", "register"}
