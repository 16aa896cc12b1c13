"""Marks by hand speak for more than their own patch, as dose has an order.

Common practice, no source: what rubs off had too little dose, a damaged glaze had too much.
"""

import pytest

from darkroom.cards import wishes
from etchproof.card import HALFTONE, SOLID
from etchproof.choosing.choice import choose
from etchproof.choosing.judging import Judgement
from etchproof.choosing.marked_patches import Setting
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import lay_out_power_card
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import PatchReading, Reading

FEEDS = (1000.0, 1600.0, 2200.0)
POWERS = (0.51, 0.57, 0.63)


@pytest.fixture(scope="module")
def card():
    return power_card(7)


def power_card(number, feeds=FEEDS, powers=POWERS):
    return lay_out_power_card(
        wishes(number=number), Grid(feeds_mm_per_min=feeds, power_ratios=powers)
    )


def reading(card, lightness=28.0):
    patches = tuple(
        PatchReading(
            cell=patch.cell,
            part=patch.part,
            reflectance=((value + 16) / 116) ** 3,
            lightness=value,
            unevenness=0.4,
            photos=1,
        )
        for patch in card.patches
        for value in (lightness if patch.part == SOLID else 60.0,)
        if patch.part in (SOLID, HALFTONE)
    )
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=patches)


def judged(outcome):
    return {cell.name: cell.judgement for cell in outcome.cells}


def test_damage_at_one_power_never_leads_to_more_power_at_that_speed(card):
    before = choose(card, reading(card), {})
    assert (before.choice.cell, before.choice.power_ratio) == ("C1", 0.51)

    after = choose(card, reading(card), {"C1": Mark.GLAZE_DAMAGED})

    assert after.choice is None
    assert set(judged(after).values()) == {Judgement.GLAZE_DAMAGED}
    assert after.next_range.high_power_ratio <= 0.51


@pytest.mark.parametrize(
    ("mark", "at", "judgement", "named"),
    [
        (Mark.RUBS_OFF, "B2", Judgement.RUBS_OFF, {"B1", "B2", "C1", "C2"}),
        (Mark.GLAZE_DAMAGED, "B2", Judgement.GLAZE_DAMAGED, {"A2", "A3", "B2", "B3"}),
        (Mark.RUBS_OFF, "C1", Judgement.RUBS_OFF, {"C1"}),
        (Mark.GLAZE_DAMAGED, "A3", Judgement.GLAZE_DAMAGED, {"A3"}),
        (Mark.TOO_LIGHT, "B2", Judgement.TOO_LIGHT, {"B2"}),
    ],
)
def test_a_mark_speaks_for_the_patches_that_its_physics_reaches(card, mark, at, judgement, named):
    outcome = choose(card, reading(card), {at: mark})

    assert {name for name, its in judged(outcome).items() if its is judgement} == named


@pytest.mark.parametrize(
    ("one", "other", "is_no_less"),
    [
        ((0.5, 1000.0, 0.1), (0.5, 1000.0, 0.1), True),
        ((0.6, 1000.0, 0.1), (0.5, 1000.0, 0.1), True),
        ((0.5, 900.0, 0.1), (0.5, 1000.0, 0.1), True),
        ((0.5, 1000.0, 0.08), (0.5, 1000.0, 0.1), True),
        ((0.4, 1000.0, 0.1), (0.5, 1000.0, 0.1), False),
        ((0.5, 1100.0, 0.1), (0.5, 1000.0, 0.1), False),
        ((0.5, 1000.0, 0.12), (0.5, 1000.0, 0.1), False),
        ((0.6, 1100.0, 0.1), (0.5, 1000.0, 0.1), False),
        ((0.5, 1000.0, 0.1), (0.6, 1100.0, 0.1), False),
    ],
)
def test_settings_are_ordered_only_where_power_speed_and_spacing_agree(one, other, is_no_less):
    assert Setting(*one).burns_no_less_than(Setting(*other)) is is_no_less


@pytest.mark.parametrize(
    ("marks", "named"),
    [
        ({"A1": Mark.RUBS_OFF, "C1": Mark.GLAZE_DAMAGED}, ("A1", "C1")),
        ({"B3": Mark.RUBS_OFF, "C1": Mark.GOOD}, ("B3", "C1")),
        ({"A3": Mark.GOOD, "B2": Mark.GLAZE_DAMAGED}, ("B2", "A3")),
    ],
)
def test_marks_that_contradict_each_other_are_asked_about(card, marks, named):
    outcome = choose(card, reading(card), marks)

    assert outcome.choice is None
    assert len(outcome.sentences) == 1
    assert all(name in outcome.sentences[0] for name in named)
    assert "look at both again" in outcome.sentences[0]


def test_marks_that_agree_are_not_asked_about(card):
    marks = {"C1": Mark.RUBS_OFF, "B1": Mark.GOOD, "A3": Mark.GLAZE_DAMAGED, "C2": Mark.TOO_LIGHT}

    outcome = choose(card, reading(card), marks)

    assert outcome.choice is not None
    assert not [text for text in outcome.sentences if "look at both again" in text]


def test_a_mark_on_an_earlier_card_speaks_for_a_later_one(card):
    first = choose(card, reading(card), {"B2": Mark.GLAZE_DAMAGED})
    finer = power_card(8, feeds=(1500.0, 1600.0, 1700.0), powers=(0.55, 0.57, 0.59))

    outcome = choose(finer, reading(finer), {}, earlier=[first])

    damaged = {n for n, its in judged(outcome).items() if its is Judgement.GLAZE_DAMAGED}
    assert damaged == {"A2", "A3", "B2", "B3"}


def test_a_mark_that_contradicts_an_earlier_card_names_that_card(card):
    first = choose(card, reading(card), {"B2": Mark.GLAZE_DAMAGED})
    finer = power_card(8, feeds=(1500.0, 1600.0), powers=(0.57, 0.6))

    outcome = choose(finer, reading(finer), {"A2": Mark.GOOD}, earlier=[first])

    assert "B2 of card 7" in outcome.sentences[0]
    assert "A2" in outcome.sentences[0]


def test_between_what_rubs_off_and_what_is_damaged_the_next_card_looks_between(card):
    marks = {"C1": Mark.GLAZE_DAMAGED}
    weak = power_card(8, feeds=(2400.0, 2800.0), powers=(0.4, 0.48))
    damaged = choose(card, reading(card), marks)

    outcome = choose(weak, reading(weak), {"A2": Mark.RUBS_OFF}, earlier=[damaged])

    assert outcome.choice is None
    wanted = outcome.next_range
    assert (wanted.low_power_ratio, wanted.high_power_ratio) == (0.48, 0.51)
    assert (wanted.low_feed_mm_per_min, wanted.high_feed_mm_per_min) == (2200.0, 2400.0)
    assert "between" in outcome.sentences[0]


# The fingernail


def test_the_fingernail_is_asked_for_on_the_patch_that_is_chosen(card):
    outcome = choose(card, reading(card), {})

    assert outcome.is_fingernail_asked
    assert "fingernail" in " ".join(outcome.sentences)


@pytest.mark.parametrize("answer", [Mark.GOOD, Mark.COULD_NOT_TELL])
def test_an_answer_ends_the_question_and_keeps_the_patch(card, answer):
    chosen = choose(card, reading(card), {}).choice

    outcome = choose(card, reading(card), {chosen.cell: answer})

    assert outcome.choice.cell == chosen.cell
    assert not outcome.is_fingernail_asked


def test_what_could_not_be_told_is_judged_by_the_camera_and_said(card):
    outcome = choose(card, reading(card), {"C1": Mark.COULD_NOT_TELL})

    assert judged(outcome)["C1"] is Judgement.FIT
    assert "Nobody could tell whether" in " ".join(outcome.sentences)


def test_a_no_leads_to_another_patch_that_is_asked_about_again(card):
    outcome = choose(card, reading(card), {"C1": Mark.RUBS_OFF})

    assert outcome.choice.cell == "C2"
    assert outcome.is_fingernail_asked
