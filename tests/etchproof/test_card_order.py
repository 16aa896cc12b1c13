"""A card is asked for in plain values, and what makes none is refused in a sentence."""

import json
from dataclasses import replace

import pytest

from darkroom.cards import HEAD, RECIPE, first_grid, wishes
from etchproof.card import POWER, REGISTER, TONE
from etchproof.choosing.choice import choose
from etchproof.errors import CardDoesNotFit, HighDose, UnfitCard
from etchproof.layout.card_order import BESIDE, FIRST_STEPS, KINDS, CardOrder, lay_out
from etchproof.layout.etching import etching_time_s
from etchproof.layout.focus_card import WedgeRequest
from etchproof.layout.job import prepare_card
from etchproof.reading.hand_marks import Mark
from etchwire.catalogue.heads import Recipe, Register

pytestmark = pytest.mark.slow

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

    usual = first_grid(steps=FIRST_STEPS)
    assert {patch.feed_mm_per_min for patch in card.patches} == set(usual.feeds_mm_per_min)


def test_a_first_card_s_patches_are_smaller_where_larger_ones_take_more_than_a_quarter_of_an_hour():
    usual = ordered("power")
    asked = ordered("power", steps=FIRST_STEPS)

    assert etching_time_s(usual) <= 15 * 60 < etching_time_s(asked)
    assert usual.patches[0].area.width < asked.patches[0].area.width
    assert len(usual.patches) == len(asked.patches)


@pytest.mark.parametrize(
    ("kind", "is_of"), [("five", POWER), ("tone", TONE), ("register", REGISTER)]
)
def test_the_others_are_burnt_with_the_recipe(kind, is_of):
    card = ordered(kind)

    assert card.kind == is_of
    feeds = {one.feed_mm_per_min for one in (*card.patches, *card.hairlines)}
    assert RECIPE.feed_mm_per_min in feeds


@pytest.mark.parametrize(
    ("changes", "is_said"),
    [
        ({"is_spot_measured": True, "register": Register()}, True),
        ({"is_spot_measured": True}, False),  # the register is known, so it is only looked at again
        ({"register": Register(), "is_spot_measured": False}, False),  # no spacing is due
    ],
)
def test_a_register_card_says_that_a_spacing_card_may_lie_beside_it_for_one_photo(changes, is_said):
    head = replace(HEAD, **changes)

    card = lay_out(CardOrder(kind="register", wishes=wishes(head=head), recipe=RECIPE))

    assert (BESIDE in card.notes) == is_said


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


def of_watts(watts):
    return WISHES | {"head": replace(HEAD, rated_optical_w=watts).to_table()}


def test_a_weak_laser_s_first_card_takes_no_more_than_an_hour_and_offers_the_choice():
    """With six speeds, six powers and speeds by the law alone it took 312 minutes."""
    card = lay_out(CardOrder.from_table({"kind": "power", "wishes": of_watts(2.5)}))

    assert etching_time_s(card) <= 3600
    note = card.notes[-1]
    assert "would take" in note
    assert "a first stage" in note
    assert "say how many speeds and powers you want" in note


def test_steps_that_are_asked_for_are_kept_and_their_time_is_told():
    card = lay_out(
        CardOrder.from_table({"kind": "power", "wishes": of_watts(2.5), "steps": [6, 6]})
    )

    assert len({patch.feed_mm_per_min for patch in card.patches}) == 6
    assert "hours to etch" in card.notes[-1]


def test_the_time_of_a_card_is_that_of_its_job(tmp_path):
    card = ordered("power", steps=[3, 3])

    sheet = prepare_card(card, folder=tmp_path / "job")

    assert etching_time_s(card) == pytest.approx(sheet.predicted_s, rel=0.02)


def test_cells_of_a_first_card_with_more_dose_than_any_surface_needs_stay_bare():
    # common practice, no source: 10 J/mm²; 5 W at 250 mm/min and 0.1 mm are 12
    card = lay_out(CardOrder.from_table({"kind": "power", "wishes": of_watts(5.0)}))

    assert "A6" not in card.cells()
    assert "A5" in card.cells()
    assert any("Left bare: A6." in note for note in card.notes)


def test_so_much_dose_is_asked_about_first_and_burnt_when_it_is_meant():
    asked = {"kind": "power", "feeds_mm_per_min": [500, 2000], "power_ratios": [0.5, 1.0],
             "wishes": WISHES, "steps": [2, 2]}  # fmt: skip

    with pytest.raises(HighDose, match="24 J/mm²"):
        lay_out(CardOrder.from_table(asked))

    meant = lay_out(CardOrder.from_table(asked | {"is_high_dose_meant": True}))
    assert len(meant.cells()) == 4


@pytest.mark.parametrize("kind", ["five", "tone", "check", "reserve", "spacing", "register"])
def test_a_recipe_of_so_much_dose_is_asked_about_before_any_card_is_burnt_with_it(kind):
    """Only a power card asked; a recipe that a person typed was burnt as it was."""
    # 20 W * 60 % at 500 mm/min and 0.1 mm: 12 * 60 / (500 * 0.1) = 14.4 J/mm²
    strong = Recipe(surface="t", feed_mm_per_min=500.0, power_ratio=0.6, line_spacing_mm=0.1)
    asked = {"kind": kind, "wishes": WISHES, "recipe": strong.to_table()}

    with pytest.raises(HighDose, match="the recipe gives 14 J/mm²"):
        lay_out(CardOrder.from_table(asked))

    card = lay_out(CardOrder.from_table(asked | {"is_high_dose_meant": True}))
    assert card.recipe.feed_mm_per_min <= 550


def test_every_kind_has_a_layout():
    assert set(KINDS) == {
        "power",
        "five",
        "tone",
        "register",
        "focus",
        "spacing",
        "check",
        "reserve",
    }


def test_a_weak_laser_s_focus_card_is_burnt_at_full_power_at_fewer_heights_and_says_its_time():
    """At 2.5 W the usual one took more than four hours; 10 W are strong enough for it."""
    wedge = WedgeRequest(left_mm=0, right_mm=18, length_mm=150)

    def focus_card(watts):
        head = replace(HEAD, rated_optical_w=watts)
        return lay_out(CardOrder(kind="focus", wishes=wishes(head=head), wedge=wedge))

    weak, usual = focus_card(2.5), focus_card(10.0)

    assert etching_time_s(weak) <= 60 * 60
    assert weak.recipe.power_ratio == 1
    assert len(weak.patches) < len(usual.patches)
    assert "as many heights as usual this card would take 80 minutes" in " ".join(weak.notes)
    assert "as many heights as usual" not in " ".join(usual.notes)


@pytest.mark.parametrize("watts", [45.0, 60.0, 100.0])
def test_a_strong_laser_on_a_fast_machine_is_proposed_no_five_digit_speed(watts):
    """By the law alone 60 W would do well at 85 000 mm/min, and a finer card goes on from 8000."""
    head = replace(
        HEAD, rated_optical_w=watts, max_feed_mm_per_min=60_000.0, acceleration_mm_per_s2=50_000.0
    )
    wedge = WedgeRequest(left_mm=0, right_mm=18, length_mm=150)

    first = lay_out(CardOrder(kind="power", wishes=wishes(head=head)))
    focus = lay_out(CardOrder(kind="focus", wishes=wishes(head=head), wedge=wedge))
    fastest = max(first.patches, key=lambda patch: patch.feed_mm_per_min)
    finer = choose(first, None, {fastest.cell: Mark.GOOD}).next_range

    speeds = [patch.feed_mm_per_min for card in (first, focus) for patch in card.patches]
    assert max(*speeds, finer.high_feed_mm_per_min) < 10_000
