"""Surfaces that do not turn black: a plateau is a plateau, and more dose is no cure."""

import numpy as np
import pytest

from darkroom.cards import HEAD, wishes
from etchproof.card import SOLID
from etchproof.choosing.choice import choose
from etchproof.choosing.judging import Judgement
from etchproof.choosing.second_card import most_dose
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import lay_out_power_card
from etchproof.layout.ranges import Range
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, dose_j_per_mm2


def card_of(feeds, powers, number=7):
    return lay_out_power_card(
        wishes(number=number), Grid(feeds_mm_per_min=feeds, power_ratios=powers)
    )


def read(card, rows):
    values = dict(zip(card.cells(), [value for row in rows for value in row], strict=True))
    patches = tuple(
        PatchReading(
            cell=patch.cell,
            part=patch.part,
            reflectance=((values[patch.cell] + 16) / 116) ** 3,
            lightness=values[patch.cell],
            unevenness=0.4,
            photos=1,
        )
        for patch in card.patches
        if patch.part == SOLID
    )
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=patches)


def strongest_dose(wanted):
    return dose_j_per_mm2(
        power_w=HEAD.rated_optical_w * wanted.high_power_ratio,
        feed_mm_per_min=wanted.low_feed_mm_per_min,
        line_spacing_mm=0.1,
    )


PALE = [[62, 62, 62, 62], [64, 62, 62, 62], [80, 66, 62.5, 62], [95, 85, 75, 64]]
PALE_CARD = card_of((1000.0, 1500.0, 2000.0, 2400.0), (0.4, 0.6, 0.8, 1.0))


def test_a_pale_plateau_is_taken_for_what_it_is_and_its_fastest_patch_recommended():
    outcome = choose(PALE_CARD, read(PALE_CARD, PALE), {})

    assert outcome.choice.cell == "D4"
    assert "gets no darker than L* 62 here" in outcome.sentences[0]
    assert "another paint or a thicker coat" in outcome.sentences[0]


def test_a_pale_card_that_still_darkens_is_no_plateau():
    card = card_of((1000.0, 1500.0), (0.5, 0.6))

    outcome = choose(card, read(card, [[65, 62], [80, 70]]), {})

    assert outcome.choice is None
    assert outcome.next_range.high_power_ratio == 1.0


def test_pale_on_both_sides_of_its_darkest_patch_is_as_dark_as_it_gets():
    card = card_of((1000.0, 1500.0), (0.5, 0.9))

    outcome = choose(card, read(card, [[62, 75], [70, 64]]), {})

    assert {c.name: c.judgement for c in outcome.cells}["A2"] is Judgement.BURNT_TOO_FAR
    assert outcome.choice.cell == "B2"
    assert "no darker" in outcome.sentences[0]


def test_a_tile_that_shows_nothing_is_no_plateau():
    card = card_of((1000.0, 3000.0), (0.5, 1.0))

    outcome = choose(card, read(card, [[97, 97], [98, 97]]), {})

    assert outcome.choice is None


@pytest.mark.slow
def test_cards_on_a_surface_that_never_marks_stop_at_the_dose_that_no_surface_exceeds():
    wanted = Range(
        low_feed_mm_per_min=3000, high_feed_mm_per_min=8000,
        low_power_ratio=0.5, high_power_ratio=1.0,
    )  # fmt: skip
    outcomes = []
    for number in range(1, 7):
        card = lay_out_power_card(wishes(number=number), Grid.over(wanted, 4, 4))
        outcomes.append(choose(card, read(card, [[97] * 4] * 4), {}, earlier=outcomes))
        wanted = outcomes[-1].next_range

        assert strongest_dose(wanted) <= MOST_DOSE_J_PER_MM2 * 1.001

    assert "does not mark" in outcomes[-1].sentences[0]


def test_no_card_is_proposed_with_more_dose_than_patches_that_were_burnt_too_far():
    """The laser has faded since the first card, on which the slowest patches were burnt too far."""
    first_card = card_of((1000.0, 1500.0), (0.5, 0.9))
    first = choose(first_card, read(first_card, [[45, 60], [60, 45]]), {})
    too_far = dose_j_per_mm2(
        power_w=HEAD.rated_optical_w * 0.9, feed_mm_per_min=1000, line_spacing_mm=0.1
    )
    later_card = card_of((1200.0, 2000.0), (0.5, 1.0), number=8)

    later = choose(later_card, read(later_card, [[75, 65], [85, 75]]), {}, earlier=[first])

    assert later.choice is None
    assert strongest_dose(later.next_range) <= too_far * 1.001


@pytest.mark.slow
def test_whatever_was_read_and_marked_no_card_goes_beyond_what_was_too_much_before():
    """Invented readings and marks, most of them odd ones, on two cards of one pair."""
    chance = np.random.default_rng(1)
    words = [None] * 12 + [Mark.GLAZE_DAMAGED, Mark.RUBS_OFF, Mark.TOO_LIGHT]
    cards = (
        card_of((1000.0, 1600.0, 2500.0), (0.3, 0.5, 0.8), number=7),
        card_of((1800.0, 2000.0, 2200.0), (0.2, 0.6, 0.65), number=8),
    )
    same_card = ("both cannot be true", "this card again")  # is looked at, or burnt, once more
    tried = 0
    for _ in range(30):
        outcomes = []
        for card in cards:
            light = chance.uniform(25, chance.choice([30, 60, 95]), (3, 3))
            said = {cell: words[chance.integers(len(words))] for cell in card.cells()}
            marks = {cell: word for cell, word in said.items() if word is not None}
            outcomes.append(choose(card, read(card, light.tolist()), marks, earlier=outcomes))
        last = outcomes[-1]
        if any(text in last.sentences[0] for text in same_card):
            continue
        every = [cell for one in outcomes for cell in one.cells]
        chosen = [cell for cell in last.cells if last.choice and cell.name == last.choice.cell]
        watts = HEAD.rated_optical_w
        most = max([most_dose(every, watts), *(cell.dose_j_per_mm2(watts) for cell in chosen)])
        tried += 1
        assert strongest_dose(last.next_range) <= most * 1.001, last.sentences

    assert tried > 15


@pytest.mark.parametrize("mark", [Mark.GLAZE_DAMAGED])
def test_a_finer_card_keeps_below_what_was_damaged(mark):
    card = card_of((1000.0, 1300.0, 1700.0), (0.5, 0.7))
    reading = read(card, [[28, 28], [28, 28], [40, 28]])

    outcome = choose(card, reading, {"B2": mark})

    damaged = dose_j_per_mm2(
        power_w=HEAD.rated_optical_w * 0.7, feed_mm_per_min=1300, line_spacing_mm=0.1
    )
    assert outcome.choice.cell == "C2"
    assert strongest_dose(outcome.next_range) <= damaged * 1.001
