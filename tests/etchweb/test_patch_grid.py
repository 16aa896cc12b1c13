"""The grid of a test card on the page: as the card was laid out, with what was read of it."""

import pytest

from darkroom.cards import RECIPE, power_card, tone_card, wishes
from etchproof.layout.check_strip import lay_out_check_strip
from etchproof.layout.reserve_card import lay_out_reserve_card
from etchproof.layout.spacing_card import lay_out_spacing_card
from etchproof.reading.values import PatchReading, Reading
from etchweb.cards.patch_grid import grey_of, measured_patches, patch_grid
from etchwire.catalogue.heads import dose_j_per_mm2

CARD = power_card()


def reading_of(card, lightness):
    """Return a reading in which every part of every patch has `lightness` of it."""
    return Reading(
        card_number=card.number,
        kind=card.kind,
        photos=(),
        patches=tuple(
            PatchReading(
                cell=patch.cell, part=patch.part, reflectance=0.1, lightness=lightness(patch),
                unevenness=0.5, photos=1,
            )
            for patch in card.patches
        ),
    ).to_json()  # fmt: skip


def test_speed_and_power_of_every_patch_stand_on_the_edges_of_its_row_and_column():
    grid = patch_grid(CARD, "", {}, None)

    for patch in CARD.patches:
        ((speed, row),) = [
            (speed, row)
            for speed, row in grid.rows
            if patch.cell in [one and one.name for one in row]
        ]
        column = [one and one.name for one in row].index(patch.cell)
        assert speed.replace("\u202f", "") == f"{patch.feed_mm_per_min:.0f}"
        assert grid.columns[column] == f"{patch.power_ratio * 100:.0f} %"


def test_rows_and_columns_lie_as_on_the_card():
    grid = patch_grid(CARD, "", {}, None)
    areas = {patch.cell: patch.area for patch in CARD.patches}

    for _, row in grid.rows:
        lefts = [areas[one.name].left for one in row]
        assert lefts == sorted(lefts)
    tops = [areas[row[0].name].top for _, row in grid.rows]
    assert tops == sorted(tops)


def test_a_patch_tells_its_settings_what_it_showed_and_what_was_said_of_it():
    first = CARD.patches[0]
    reading = reading_of(CARD, lambda patch: 23.4 if patch.coverage == 1 else 61.2)

    grid = patch_grid(CARD, reading, {first.cell: "rubs off"}, None)

    told = next(one for one in grid.patches if one.name == first.cell)
    dose = dose_j_per_mm2(
        power_w=CARD.head.rated_optical_w * first.power_ratio,
        feed_mm_per_min=first.feed_mm_per_min,
        line_spacing_mm=CARD.spacing_mm,
    )
    assert f"{dose:.2g} J/mm²." in told.figures
    assert "Lightness 23, scatter 0.5. Its half burnt part 61. Rubs off." in told.figures
    assert (told.lightness, told.is_dark, told.sign) == (23, True, "✕")
    assert grid.signs == [("✕", "rubs off")]


@pytest.mark.parametrize("reading", ["", '{"version": 99, "photos": []}', "{"])
def test_without_a_reading_of_ours_no_patch_has_a_lightness(reading):
    assert {patch.lightness for patch in patch_grid(CARD, reading, {}, None).patches} == {None}
    assert measured_patches(tone_card(), reading) == []


def test_the_patch_that_is_recommended_is_framed():
    told = {
        "cells": [{"name": "A1", "judgement": "as dark as any"}],
        "choice": {"cell": "A1"},
    }

    grid = patch_grid(CARD, "", {}, told)

    assert [patch.name for patch in grid.patches if patch.is_chosen] == ["A1"]
    assert grid.patches[0].judgement == "dark"


def test_a_check_strip_is_one_column_and_a_reserve_card_has_its_places():
    strip = patch_grid(lay_out_check_strip(wishes(number=3), RECIPE), "", {}, None)
    reserve = patch_grid(lay_out_reserve_card(wishes(number=4), RECIPE), "", {}, None)

    assert strip.columns == (f"{RECIPE.power_ratio * 100:.0f} %",)
    assert reserve.columns == (
        "top left", "top right", "the centre", "bottom left", "bottom right",
    )  # fmt: skip


@pytest.mark.slow
def test_a_patch_of_any_other_card_tells_how_it_was_etched_and_what_it_showed():
    tones, lines = tone_card(), lay_out_spacing_card(wishes(number=12), RECIPE)

    steps = dict(measured_patches(tones, reading_of(tones, lambda patch: 90 - patch.coverage)))
    spacings = dict(measured_patches(lines, reading_of(lines, lambda _: 30.0)))

    assert len(steps) == len(tones.patches)
    assert steps["1"] == "0 % burnt, lines 0.1 mm apart: lightness 90."
    coarser = next(patch for patch in lines.patches if patch.cell == "B")
    apart = f"{coarser.rows_apart * lines.spacing_mm:.10g}"
    assert spacings["B"] == (
        f"100 % burnt, lines {apart} mm apart: lightness 30; "
        f"50 % burnt, lines {apart} mm apart: lightness 30."
    )
    assert measured_patches(tones, "") == []


@pytest.mark.parametrize(("lightness", "code"), [(0, 0), (50, 119), (100, 255)])
def test_a_patch_is_drawn_in_the_grey_that_it_is(lightness, code):
    # sRGB of CIE L* 50 beside white is 119 (IEC 61966-2-1, worked out by hand, from memory).
    assert grey_of(lightness) == code
