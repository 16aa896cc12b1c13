"""The rule of the trade: tables of cells, hand marks, and surfaces that the chooser never met."""

from dataclasses import replace

import numpy as np
import pytest

from darkroom.camera import Shot, photograph
from darkroom.cards import HEAD, first_grid, power_card, reach, tone_card, wishes
from darkroom.tile import SURFACES, etch
from etchphoto.light import lightness
from etchproof.card import HALFTONE, SOLID
from etchproof.choosing.chart import chart_of
from etchproof.choosing.choice import choose
from etchproof.choosing.judging import Judgement, judge
from etchproof.choosing.second_card import SECOND_STEPS
from etchproof.errors import NothingToChoose, UnreadableCard
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import lay_out_power_card
from etchproof.model.response import Point, Response
from etchproof.reading.camera import read_card
from etchproof.reading.hand_marks import Mark, marks_from_table
from etchproof.reading.values import PatchReading, Reading
from etchwire.controller.profile import EIGHT_BIT, THIRTY_TWO_BIT

# Speeds down, powers across. Every speed here is one that a photo reaches on this head.
FEEDS = (1000.0, 1600.0, 2200.0)
POWERS = (0.4, 0.6, 0.8)


@pytest.fixture(scope="module")
def card():
    return lay_out_power_card(wishes(), Grid(feeds_mm_per_min=FEEDS, power_ratios=POWERS))


def reading(card, lightness_of_cell, uneven=(), halftones=None):
    """What a camera would have read: L* by cell, row by row, with some cells blotchy."""
    names = list(card.cells())
    values = dict(zip(names, np.ravel(lightness_of_cell).tolist(), strict=True))
    patches = [
        PatchReading(
            cell=name,
            part=part,
            reflectance=((value + 16) / 116) ** 3,
            lightness=value,
            unevenness=8.0 if name in uneven else 0.4,
            photos=1,
        )
        for name, value in values.items()
        for part, value in ((SOLID, value), (HALFTONE, (halftones or {}).get(name, 60.0)))
    ]
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=tuple(patches))


PLATEAU = [[28, 28, 28], [45, 29, 28], [70, 50, 30]]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "lightness", "uneven", "marks", "chosen"),
    [
        ("the fastest of the darkest", PLATEAU, (), {}, "C3"),
        ("of equals the weakest", [[28, 28, 28], [45, 29, 28], [70, 30, 30]], (), {}, "C2"),
        ("not one that is blotchy", PLATEAU, ("C3",), {}, "B2"),
        ("not one that rubs off", PLATEAU, (), {"C3": Mark.RUBS_OFF}, "B2"),
        ("not one with broken glaze", PLATEAU, (), {"C3": Mark.GLAZE_DAMAGED}, "B2"),
        ("not one a person finds too light", PLATEAU, (), {"C3": Mark.TOO_LIGHT}, "B2"),
        ("one a person finds good, though blotchy", PLATEAU, ("C3",), {"C3": Mark.GOOD}, "C3"),
        ("one a person finds good, though light", PLATEAU, (), {"C2": Mark.GOOD}, "C2"),
        ("just inside the plateau", [[28, 28, 28], [45, 45, 45], [70, 50, 31]], (), {}, "C3"),
        ("not just outside it", [[28, 28, 28], [45, 45, 45], [70, 50, 31.1]], (), {}, "A1"),
        ("no darker blotch to be measured by",
         [[20, 28, 28], [45, 45, 28], [70, 50, 45]], ("A1",), {}, "B3"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_it_takes(card, what, lightness, uneven, marks, chosen):
    outcome = choose(card, reading(card, lightness, uneven), marks)

    assert outcome.choice.cell == chosen


def test_of_equal_speeds_it_takes_the_least_power_that_single_dots_keep(card):
    all_dark = [[28, 28, 28]] * 3

    kept = choose(card, reading(card, all_dark, halftones={"C1": 95, "C2": 80, "C3": 60}), {})
    lost = choose(card, reading(card, all_dark, halftones={"C1": 99, "C2": 95, "C3": 90}), {})

    assert kept.choice.cell == "C2"
    assert lost.choice.cell == "C3"
    assert "looks only 25 % burnt" in " ".join(lost.sentences)


def test_hands_alone_can_choose(card):
    marks = dict.fromkeys(card.cells(), Mark.TOO_LIGHT) | {
        "A1": Mark.GOOD, "B2": Mark.GOOD, "B3": Mark.GOOD, "A3": Mark.GLAZE_DAMAGED,
    }  # fmt: skip

    outcome = choose(card, None, marks)

    assert outcome.choice.cell == "B2"
    assert outcome.choice.lightness is None
    assert outcome.response is None


def test_a_cell_that_is_lighter_for_more_burning_was_burnt_too_far(card):
    outcome = choose(card, reading(card, [[50, 60, 70], [29, 28, 60], [70, 30, 28]]), {})

    judged = {cell.name: cell.judgement for cell in outcome.cells}
    assert judged["A3"] is Judgement.BURNT_TOO_FAR
    assert judged["B3"] is Judgement.BURNT_TOO_FAR
    assert judged["C1"] is Judgement.TOO_LIGHT
    assert outcome.choice.cell == "C2"


def test_stronger_but_lighter_at_one_speed_is_burnt_too_far_where_nothing_is_fit(card):
    """An earlier card was darker, so nothing is fit; in row B less power is darker than more."""
    shown = reading(card, [[60, 60, 60], [50, 40, 52], [58, 58, 58]])

    judged = {cell.name: cell.judgement for cell in judge(card, shown, {}, darkest_known=20.0)}

    assert judged["B3"] is Judgement.BURNT_TOO_FAR
    assert judged["B2"] is Judgement.TOO_LIGHT
    assert judged["B1"] is Judgement.TOO_LIGHT


def test_a_little_lighter_for_more_power_is_no_burning_too_far(card):
    """Three points of lightness are within what one patch differs from the next."""
    shown = reading(card, [[60, 60, 60], [50, 40, 42.9], [58, 58, 58]])

    judged = {cell.name: cell.judgement for cell in judge(card, shown, {}, darkest_known=20.0)}

    assert judged["B3"] is Judgement.TOO_LIGHT


def test_a_speed_no_photo_reaches_is_passed_over_for_one_that_it_does():
    card = lay_out_power_card(
        wishes(), Grid(feeds_mm_per_min=(2000.0, 9000.0), power_ratios=(0.5, 1.0))
    )

    outcome = choose(card, reading(card, [[28, 28], [28, 28]]), {})

    assert outcome.choice.cell == "A1"
    assert outcome.choice.feed_mm_per_min == 2000.0


def test_where_only_such_speeds_were_dark_enough_it_asks_for_what_they_really_ran():
    card = lay_out_power_card(
        wishes(), Grid(feeds_mm_per_min=(6000.0, 9000.0), power_ratios=(0.5, 1.0))
    )

    choice = choose(card, reading(card, [[80, 28], [90, 80]]), {}).choice

    true = card.cells()["A2"][1].true_feed_mm_per_min
    assert choice.feed_mm_per_min == pytest.approx(true * choice.reserve.times_the_speed)
    assert choice.power_ratio == pytest.approx(true / 6000.0)


def test_when_nothing_is_dark_enough_it_raises_the_power_before_slowing_down(card):
    pale = choose(card, reading(card, [[60, 55, 52], [80, 70, 65], [90, 85, 80]]), {})

    assert pale.choice is None
    assert "Raise the power before slowing down" in pale.sentences[0]
    assert pale.next_range.low_power_ratio == 0.8
    assert pale.next_range.high_power_ratio == 1.0
    assert pale.next_range.high_feed_mm_per_min == 2200.0


def test_at_full_power_it_slows_down():
    feeds = (2400.0, 3200.0, 4400.0)
    card = lay_out_power_card(wishes(), Grid(feeds_mm_per_min=feeds, power_ratios=(0.5, 1.0)))

    pale = choose(card, reading(card, [[60, 55], [80, 70], [90, 85]]), {})

    assert pale.choice is None
    assert "even at full power" in pale.sentences[0]
    assert pale.next_range.high_feed_mm_per_min == 2400.0
    assert pale.next_range.low_feed_mm_per_min < 2400.0


def test_where_everything_dark_is_broken_it_asks_for_less_power(card):
    broken = choose(card, None, dict.fromkeys(card.cells(), Mark.GLAZE_DAMAGED))

    assert broken.choice is None
    assert "less power" in broken.sentences[0]
    # 40 % at 2200 mm/min broke it: at 1000 mm/min that dose has 40 % * 1000 / 2200
    assert broken.next_range.high_power_ratio == pytest.approx(0.4 * 1000 / 2200)


def test_a_finer_card_is_held_to_the_darkness_of_the_first(card):
    first = choose(card, reading(card, [[25, 25, 25], [25, 25, 25], [25, 25, 25]]), {})

    finer = choose(card, reading(card, [[27, 27, 27], [29, 27, 27], [30, 29, 29]]), {},
                   earlier=[first])  # fmt: skip

    assert finer.choice.cell == "B2"


@pytest.mark.slow
def test_a_tone_card_has_no_speed_to_choose():
    with pytest.raises(NothingToChoose, match="no power card"):
        choose(tone_card(), None, {"1": Mark.GOOD})


def test_a_card_neither_read_nor_marked_chooses_nothing(card):
    with pytest.raises(NothingToChoose, match="neither read"):
        choose(card, None, {})


@pytest.mark.parametrize(
    ("table", "words"), [({"Z9": "good"}, "no patch Z9"), ({"A1": "perfect"}, "is no mark")]
)
def test_marks_of_no_cell_or_no_meaning_are_refused(card, table, words):
    with pytest.raises(UnreadableCard, match=words):
        marks_from_table(table, card)


def test_marks_are_kept_as_the_words_a_person_tapped(card):
    table = {"A1": "too light", "B2": "good", "C3": "rubs off", "A3": "glaze damaged"}

    assert {cell: str(mark) for cell, mark in marks_from_table(table, card).items()} == table


# Surfaces


def best_feed(surface, head, as_dark_as):
    """The fastest speed at which the surface gets so dark, power free up to all there is."""
    feeds = np.linspace(50, reach(head), 4000)
    shown = surface.reflectance(surface.exposure(head.rated_optical_w, feeds, 0.1))
    is_dark = lightness(shown) <= as_dark_as
    return float(feeds[np.flatnonzero(is_dark)[-1]])


@pytest.mark.slow
@pytest.mark.parametrize("watts", [20.0, 10.0, 5.0])
@pytest.mark.parametrize("name", SURFACES)
def test_two_cards_find_a_speed_within_a_tenth_of_the_best_at_equal_darkness(name, watts):
    surface, head = SURFACES[name], replace(HEAD, rated_optical_w=watts)
    grid, outcomes = first_grid(head), []

    for number in (1, 2):
        laid_out = lay_out_power_card(wishes(number=number, head=head), grid)
        shot = Shot(tilt_degrees=25, light_ratio=2.0, seed=number)
        photo = photograph(etch(laid_out, surface), shot)
        read, _ = read_card([photo], [laid_out], is_wiped=True)
        outcomes.append(choose(laid_out, read, {}, earlier=outcomes))
        grid = Grid.over(outcomes[-1].next_range, *SECOND_STEPS)

    choice = outcomes[-1].choice
    dark = surface.lightness(watts * choice.power_ratio, choice.feed_mm_per_min)
    assert dark < 45
    assert choice.feed_mm_per_min >= 0.9 * best_feed(surface, head, dark)


def test_the_response_finds_exponent_threshold_and_saturation_of_a_known_law():
    chance = np.random.default_rng(2)
    points = [
        Point(
            power_w=power,
            feed_mm_per_min=feed,
            reflectance=float(known_law(power, feed) + chance.normal(0, 0.005)),
        )
        for power in (4.0, 6.0, 8.0, 10.0, 12.0)
        for feed in np.geomspace(1000, 5000, 6).tolist()
    ]

    found = Response.fitted(points, 0.1)

    assert found.exponent == pytest.approx(1.7, abs=0.1)
    assert found.residual == pytest.approx(0.005, abs=0.002)
    true = feed_of_known_law(40.0, 10.0)
    assert found.lightness(10.0, np.array([true])) == pytest.approx(40.0, abs=0.8)
    assert found.threshold_j_per_mm2(10.0) < found.saturation_j_per_mm2(10.0)
    assert found.threshold_j_per_mm2(5.0) > found.threshold_j_per_mm2(10.0)


def known_law(power_w, feed):
    exposure = (power_w / 10) ** 1.7 * 3000 / feed
    return 1 - 0.94 * (1 - np.exp(-((max(exposure - 0.4, 0) / 0.4) ** 1.3)))


def feed_of_known_law(lightness, power_w):
    share = (1 - ((lightness + 16) / 116) ** 3) / 0.94
    exposure = 0.4 + 0.4 * (-np.log(1 - share)) ** (1 / 1.3)
    return (power_w / 10) ** 1.7 * 3000 / exposure


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([Point(power_w=1.0, feed_mm_per_min=100.0, reflectance=0.5)] * 3, "too few"),
        ([Point(power_w=1.0, feed_mm_per_min=100.0, reflectance=0.5)] * 20, "equally dark"),
    ],
)
def test_points_that_show_no_curve_are_refused(points, words):
    with pytest.raises(NothingToChoose, match=words):
        Response.fitted(points, 0.1)


@pytest.mark.slow
def test_the_chart_has_a_line_per_power_with_its_cells_and_its_curve():
    card = power_card()
    photo = photograph(etch(card, SURFACES["stubborn"]), Shot())
    outcome = choose(card, read_card([photo], [card], is_wiped=True)[0], {})

    chart = chart_of(card, outcome)

    assert [line.power_ratio for line in chart.lines] == sorted(
        {p.power_ratio for p in card.patches}
    )
    assert sum(len(line.points) for line in chart.lines) == 36
    assert all(len(line.curve) == 60 for line in chart.lines)
    assert chart.chosen == outcome.choice.cell
    assert chart.threshold_j_per_mm2 < chart.saturation_j_per_mm2


def test_a_chart_of_hand_marks_alone_has_no_lines(card):
    chart = chart_of(card, choose(card, None, {"A1": Mark.GOOD}))

    assert chart.lines == ()
    assert chart.chosen == "A1"
    assert chart.threshold_j_per_mm2 is None


@pytest.mark.slow
@pytest.mark.parametrize(
    ("controller", "feeds", "is_said"),
    [(EIGHT_BIT, FEEDS, True), (EIGHT_BIT, (1000.0, 1200.0, 1600.0), False),
     (THIRTY_TWO_BIT, FEEDS, False)],
)  # fmt: skip
def test_pulses_as_long_as_a_dot_are_told_as_computed(controller, feeds, is_said):
    """0.1 mm in three pulses of 1.024 ms is 1953 mm/min: the 8-bit firmware's registers."""
    head = replace(HEAD, controller=controller)
    order = replace(wishes(), head=head)
    laid = lay_out_power_card(order, Grid(feeds_mm_per_min=feeds, power_ratios=POWERS))

    said = " ".join(choose(laid, reading(laid, PLATEAU), {}).sentences)

    assert ("(computed, not measured)" in said) is is_said
    assert ("1953 mm/min" in said) is is_said
