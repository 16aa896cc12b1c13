"""Line spacing: the coarsest lines that close, found from how bright patches are on the whole."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from darkroom.camera import LARGE, Shot, photograph
from darkroom.cards import HEAD, RECIPE, register_card, wishes
from darkroom.practice import burn_on_practice
from darkroom.spacing import black_lines
from etchphoto.light import lightness
from etchproof.card import HALFTONE, SOLID, Card
from etchproof.choosing.card_result import CardEvidence, result_of
from etchproof.choosing.judging import PLATEAU_L
from etchproof.choosing.spacing_choice import read_spacing
from etchproof.errors import CardDoesNotFit, NoSpacing, UnfitCard
from etchproof.layout.border import Place
from etchproof.layout.card_order import CardOrder, lay_out
from etchproof.layout.etching import span_rows
from etchproof.layout.grid import Grid
from etchproof.layout.job import prepare_card
from etchproof.layout.power_card import lay_out_power_card
from etchproof.layout.reach import photo_time_s
from etchproof.layout.spacing_card import lay_out_spacing_card, spacing_of
from etchproof.reading.camera import read_card
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.examples import (
    DEFAULT_HEAD,
    PRACTICE_HEADS,
    PRACTICE_RECIPES,
    PRACTICE_SURFACE,
)
from etchwire.catalogue.heads import dose_j_per_mm2
from etchwire.catalogue.records import RecipeRecord

pytestmark = pytest.mark.slow


@lru_cache(maxsize=2)
def spacing_card():
    return lay_out_spacing_card(wishes(number=12), RECIPE)


def solids(card):
    return [patch for patch in card.patches if patch.part == SOLID]


def test_every_spacing_gets_the_same_dose():
    card = spacing_card()
    doses = [
        dose_j_per_mm2(
            power_w=card.head.rated_optical_w * patch.power_ratio,
            feed_mm_per_min=patch.feed_mm_per_min,
            line_spacing_mm=spacing_of(card, patch),
        )
        for patch in card.patches
    ]
    assert doses == pytest.approx([RECIPE.dose_j_per_mm2(card.head)] * len(doses), rel=0.005)
    spacings = [spacing_of(card, patch) for patch in solids(card)]
    assert spacings == pytest.approx([0.075, 0.1, 0.125, 0.15, 0.175])


def test_lines_are_burnt_where_they_are_told_to_lie():
    card = spacing_card()
    rows = {row.row: row for row in span_rows(card)}
    for patch in solids(card):
        burnt = [row for row in range(patch.area.top, patch.area.bottom) if row in rows]
        assert set(np.diff(burnt)) == {patch.rows_apart}
        assert len(burnt) == patch.area.height // patch.rows_apart
        assert {rows[row].feed_mm_per_min for row in burnt} == {patch.feed_mm_per_min}
    marker = card.markers[0].area
    burnt = [row for row in range(marker.top, marker.bottom) if row in rows]
    assert set(np.diff(burnt)) == {4}


def test_the_job_says_the_dose_of_its_lines_not_of_its_rows(tmp_path):
    card = spacing_card()
    sheet = prepare_card(card, folder=tmp_path / "job")
    assert sheet.dose_j_per_mm2 == pytest.approx(RECIPE.dose_j_per_mm2(card.head))
    assert sheet.recipe.line_spacing_mm == pytest.approx(0.025)
    assert sheet.height_mm == pytest.approx(card.height_mm)


def test_a_card_comes_back_from_its_description_with_its_rows():
    assert Card.from_json(spacing_card().to_json()) == spacing_card()


@pytest.mark.parametrize(("width_mm", "turn"), [(0.105, 0), (0.13, 180), (0.155, 90)])
def test_the_coarsest_closed_spacing_is_found_from_a_photo_of_bare_geometry(width_mm, turn):
    card = spacing_card()
    shot = replace(
        LARGE, tilt_degrees=15, turn_degrees=turn, light_ratio=1.6, noise_codes=3, seed=turn
    )
    tile = black_lines(card, width_mm)
    reading = read_card([photograph(tile, shot)], [card], is_wiped=True)[0]

    found = read_spacing(card, Reading.from_json(reading.to_json()))

    spacings = [one.spacing_mm for one in found.seen]
    assert found.best.spacing_mm == max(one for one in spacings if one <= width_mm)
    for one in found.seen:  # white between lines, by geometry
        assert one.white_left == pytest.approx(max(0, 1 - width_mm / one.spacing_mm), abs=0.02)


def test_the_practice_machine_closes_lines_as_its_surface_says(tmp_path):
    head, recipe = PRACTICE_HEADS[DEFAULT_HEAD], PRACTICE_RECIPES[DEFAULT_HEAD]
    card = lay_out_spacing_card(wishes(head=head, surface=PRACTICE_SURFACE), recipe)
    tile = burn_on_practice(card, "white-tile", tmp_path / "job")
    truth = {
        spacing_of(card, patch): tile.reflectance[_px(tile, patch)].mean() for patch in solids(card)
    }
    reading = read_card([photograph(tile, Shot(tilt_degrees=12))], [card], is_wiped=True)[0]

    found = read_spacing(card, reading)

    black = min(truth.values())
    closed = max(spacing for spacing, seen in truth.items() if seen < black + 0.02)
    assert found.best.spacing_mm == closed
    assert found.best.photo_s < found.at_recipe.photo_s


def test_a_coarser_spacing_keeps_a_reserve(tmp_path):
    """With a tenth less dose than recommended its lines still close."""
    head = replace(PRACTICE_HEADS[DEFAULT_HEAD], is_spot_measured=False)
    recipe = replace(RECIPE, feed_mm_per_min=5900.0, power_ratio=0.6)
    asked = wishes(head=head, surface=PRACTICE_SURFACE)
    card = lay_out_spacing_card(asked, recipe)
    tile = burn_on_practice(card, "white-tile", tmp_path / "card")
    reading = read_card([photograph(tile, Shot(tilt_degrees=12))], [card], is_wiped=True)[0]
    chosen = result_of(CardEvidence(card=card, reading=reading)).recommended["recipe"]

    dose_at = chosen["feed_mm_per_min"] * 1.1 * chosen["line_spacing_mm"] / 0.1
    weaker = lay_out_spacing_card(asked, replace(recipe, feed_mm_per_min=round(dose_at)))
    looked_at = replace(weaker, patches=tuple(solids(weaker)))
    tile = burn_on_practice(looked_at, "white-tile", tmp_path / "weaker")

    seen = {
        spacing_of(weaker, patch): lightness(tile.reflectance[_px(tile, patch)].mean())
        for patch in solids(weaker)
    }
    assert chosen["line_spacing_mm"] > 0.1
    assert seen[chosen["line_spacing_mm"]] <= min(seen.values()) + PLATEAU_L


def _px(tile, patch):
    scale = tile.card.spacing_mm * tile.px_per_mm
    area = patch.area
    high, wide = area.height // 4, area.width // 4
    return (
        slice(round((area.top + high) * scale), round((area.bottom - high) * scale)),
        slice(round((area.left + wide) * scale), round((area.right - wide) * scale)),
    )


def reading_of(card, lightnesses, unevenness=()):
    uneven = dict(enumerate(unevenness))
    patches = [
        PatchReading(
            cell=patch.cell, part=part, reflectance=((lightness + 16) / 116) ** 3,
            lightness=lightness, unevenness=uneven.get(number, 0.2), photos=1,
        )
        for number, (patch, lightness) in enumerate(zip(solids(card), lightnesses, strict=False))
        for part in (SOLID, HALFTONE)
    ]  # fmt: skip
    return Reading(card_number=12, kind="spacing", photos=(), patches=tuple(patches))


def told(lightnesses, unevenness=(), marks=None, earlier=()):
    reading = reading_of(spacing_card(), lightnesses, unevenness)
    shown = CardEvidence(card=spacing_card(), reading=reading, marks=marks or {})
    return result_of(shown, earlier=earlier)


def test_what_a_spacing_card_showed_is_a_recipe_at_its_coarsest_closed_spacing():
    result = told([30, 30, 31, 30, 50])

    recipe = result.recommended["recipe"]
    assert recipe["line_spacing_mm"] == 0.15
    with_reserve = RECIPE.feed_mm_per_min * 0.1 / 0.15 / 1.1
    assert recipe["feed_mm_per_min"] == pytest.approx(with_reserve, rel=0.005)
    belongs = {"head": "a", "surface": "b", "origin": "reading", "reading": 1}
    RecipeRecord.from_table({**recipe, **belongs})
    assert result.summary["coarsest_spacing_mm"] == 0.15
    text = " ".join(result.table["sentences"])
    assert "Lines 0.175 mm apart no longer do: lightness 50" in text
    assert "% less" in text
    assert "shows no single lines" in text


def chosen_mm(result):
    return result.recommended and result.recommended["recipe"]["line_spacing_mm"]


def cell_at(spacing_mm):
    patches = {round(spacing_of(spacing_card(), one), 3): one for one in solids(spacing_card())}
    return patches[spacing_mm].cell


def test_the_fingernail_is_asked_for_before_another_spacing_is_taken():
    lightnesses = [30, 30, 31, 30, 50]

    asked = told(lightnesses)
    held = told(lightnesses, marks={cell_at(0.15): Mark.GOOD})
    rubbed = told(lightnesses, marks={cell_at(0.15): Mark.RUBS_OFF})

    assert asked.table["choice"]["cell"] == cell_at(0.15)
    assert asked.table["is_fingernail_asked"]
    assert "hold under a fingernail" in " ".join(asked.table["sentences"])
    assert (chosen_mm(held), held.table["is_fingernail_asked"]) == (0.15, False)
    assert (chosen_mm(rubbed), rubbed.table["is_fingernail_asked"]) == (0.125, True)
    assert "Lines 0.15 mm apart are left out" in " ".join(rubbed.table["sentences"])


def test_the_reserve_of_another_spacing_reaches_no_patch_that_was_damaged_before():
    """Coarse lines were damaged at a speed between that at which they close and that kept."""
    closing = RECIPE.feed_mm_per_min * 0.1 / 0.15
    request = replace(wishes(number=7), line_spacing_mm=0.15)
    feeds, powers = (closing / 1.05, closing * 1.5), (RECIPE.power_ratio, 0.9)
    grid = Grid(feeds_mm_per_min=feeds, power_ratios=powers)
    before = CardEvidence(card=lay_out_power_card(request, grid), marks={"A1": Mark.GLAZE_DAMAGED})

    result = told([30, 30, 31, 30, 50], earlier=[before])

    assert chosen_mm(result) == 0.125
    text = " ".join(result.table["sentences"])
    assert f"patch {cell_at(0.15)} – glaze damaged, as marked on an earlier card" in text


def test_where_dose_and_not_turning_takes_the_time_the_recipe_s_own_lines_stay():
    """On a weak laser a coarser spacing saves no time, and its reserve takes some."""
    head = replace(HEAD, rated_optical_w=2.5)
    slow = replace(RECIPE, feed_mm_per_min=300.0)
    card = lay_out_spacing_card(wishes(number=12, head=head), slow)

    result = result_of(CardEvidence(card=card, reading=reading_of(card, [30, 30, 30, 30, 50])))

    assert result.recommended is None
    assert result.summary["coarsest_spacing_mm"] == 0.15
    assert "no spacing is faster than 0.1 mm" in " ".join(result.table["sentences"])


def test_where_all_close_or_only_the_finest_does_the_next_card_is_named():
    assert "a coarser one may close too" in told([30, 30, 30, 30, 31]).table["sentences"][1]
    only_finest = " ".join(told([30, 45, 50, 55, 60]).table["sentences"])
    assert "may not close either" in only_finest
    assert "The recipe's own lines, 0.1 mm apart, do not close" in only_finest


def test_a_spacing_card_without_black_is_asked_whether_it_was_wiped():
    assert "Was it wiped?" in " ".join(told([62, 62, 62, 62, 80]).table["sentences"])
    assert "Was it wiped?" not in " ".join(told([30, 30, 30, 30, 50]).table["sentences"])


def test_nothing_changes_where_the_recipes_own_spacing_is_the_coarsest_that_closes():
    result = told([30, 30, 40, 50, 60])
    assert result.recommended is None


def test_stripes_are_told_with_a_word_of_what_may_cause_them():
    assert any(
        "own pixels" in one for one in told([30, 30, 30, 40, 50], [0, 0, 2]).table["sentences"]
    )


@pytest.mark.parametrize(
    ("lightnesses", "figures"),
    [
        ([30, 30, 31, 32.4, 50], "at 0.15 mm: its solid patch is 2.4 L* lighter"),
        ([30, 31.8, 40, 50, 60], "at 0.1 mm: its solid patch is 1.8 L* lighter"),
    ],
    ids=["coarser", "the recipe's own"],
)
def test_a_trace_of_banding_in_the_best_spacing_is_told_with_its_figure(lightnesses, figures):
    text = " ".join(told(lightnesses).table["sentences"])

    # white seen through the solid, by the definition of L* (ISO 11664-4): 6.2 % at 30, 100 % bare
    dark, best = (((one + 16) / 116) ** 3 for one in (30, float(figures.split()[7]) + 30))
    assert figures in text
    assert f"about {(best - dark) / (1 - dark) * 100:.1f} % white between its lines" in text


def test_what_a_reading_scatters_is_no_trace_of_banding():
    assert "trace of banding" not in " ".join(told([30, 30.4, 30.7, 30.9, 50]).table["sentences"])


def test_stripes_of_the_recipe_s_own_spacing_are_told_with_their_figure():
    """Nothing was said of them where the recipe stayed as it was."""
    sentences = told([30, 30, 40, 50, 60], [0.2, 2.5]).table["sentences"]

    assert any("scatters by 2.5 L*, 2.3 more" in one for one in sentences)


@pytest.mark.parametrize(
    ("lightnesses", "words"), [([30, 30], "only 2 line spacings"), ([95] * 5, "does not blacken")]
)
def test_a_card_that_shows_nothing_says_what_to_do(lightnesses, words):
    with pytest.raises(NoSpacing, match=words):
        read_spacing(spacing_card(), reading_of(spacing_card(), lightnesses))


def test_other_cards_and_readings_by_hand_show_no_spacing():
    with pytest.raises(NoSpacing, match="no spacing card"):
        read_spacing(register_card(), reading_of(spacing_card(), [30] * 5))
    with pytest.raises(NoSpacing, match="by camera only"):
        result_of(CardEvidence(card=spacing_card()))


def test_a_small_place_gets_fewer_spacings_and_a_tiny_one_none():
    smaller = lay_out_spacing_card(wishes(place=Place(60, 60)), RECIPE)
    assert 3 <= len(solids(smaller)) < 5
    with pytest.raises(CardDoesNotFit):
        lay_out_spacing_card(wishes(place=Place(30, 30)), RECIPE)
    with pytest.raises(UnfitCard, match="there is none"):
        lay_out(CardOrder(kind="spacing", wishes=wishes()))


def test_no_line_is_asked_to_run_faster_than_the_head_moves():
    fast = replace(RECIPE, feed_mm_per_min=9000.0)
    card = lay_out_spacing_card(wishes(), fast)
    assert max(patch.feed_mm_per_min for patch in card.patches) <= 10000.0
    assert min(spacing_of(card, patch) for patch in card.patches) == pytest.approx(0.1)


def test_a_photo_takes_as_long_as_its_rows_at_full_speed_when_turning_costs_little():
    head = replace(PRACTICE_HEADS[DEFAULT_HEAD], acceleration_mm_per_s2=1e6)
    rows, side_mm, feed = 1000, 100.0, 1200.0
    told_s = photo_time_s(head, side_mm / rows, "jarvis", feed_mm_per_min=feed, side_mm=side_mm)
    assert told_s == pytest.approx(rows * side_mm / (feed / 60), rel=0.02)
