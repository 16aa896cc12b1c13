"""How fast dots are run, and what that does to their light."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest

from darkroom.practice import burnt_by_practice
from etchpath.writer.dots import Order, write_job
from etchphoto.dots.rendering import darkness
from etchphoto.dots.search import search_dots
from etchphoto.dots.speeds import Motion, lit
from etchpractice.tile.exposure import CELL_MM
from etchpractice.tile.surface import surface_named
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES

HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
MOTION = Motion(HEAD, RECIPE)
ORDER = Order(title="x", head=HEAD, recipe=RECIPE, halftone="any")
SURFACE = surface_named("white-tile")
DOT = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06, power_exponent=1.9)


def coarse_then_fine(rows=4, columns=400):
    """Rows of solid, with single dots in their right half."""
    bits = np.ones((rows, columns), dtype=bool)
    bits[:, columns // 2 :: 2] = False
    return bits


def test_solid_runs_at_the_recipes_speed_and_single_dots_slower():
    ratios = MOTION.ratios(coarse_then_fine())[0]

    assert ratios[0, 50:150] == pytest.approx(np.ones(100), abs=0.01)
    assert ratios[0, 301:351:2].max() < 0.8


def test_a_row_the_other_way_meets_the_single_dots_first():
    forward, back = MOTION.ratios(coarse_then_fine())[0][:2]

    assert forward[201] > forward[251]  # the queue runs short little by little
    assert back[399] > back[351]


def test_dots_take_the_time_that_the_job_is_foreseen_to_take():
    bits = np.random.default_rng(4).random((40, 300)) < 0.5
    bits[:, ::299] = True  # every row from edge to edge
    solid = np.ones_like(bits)

    fine_s, solid_s = (_job(one).predicted_s for one in (bits, solid))

    dots_per_s = RECIPE.feed_mm_per_min / 60 / RECIPE.line_spacing_mm
    burnt_s = (1 / MOTION.ratios(bits)[0][bits]).sum() / dots_per_s
    # bare dots between, at the mean speed of the burnt ones: as many runs, and as fast
    expected_s = burnt_s / bits.mean() - bits.size / dots_per_s
    assert fine_s - solid_s == pytest.approx(expected_s, rel=0.1)


@pytest.mark.slow
@pytest.mark.parametrize("pattern", ["10", "110", "1110", "100"])
def test_dots_get_the_light_that_a_controller_gives_them(pattern):
    """The practice machine's controller is held to recordings of the firmware.

    It sets dynamic power by the speed at the end of what it prepares, and that is not the mean.
    """
    bits = np.array([[one == "1" for one in pattern] * (240 // len(pattern))] * 12)
    gcode = BytesIO()
    place = write_job(bits, gcode, ORDER).picture

    exposure = burnt_by_practice(gcode.getvalue(), HEAD, SURFACE.name).tile.exposure

    inside = bits[:, 60:180]
    light = exposure.window(
        round((place.left_mm + 6) / CELL_MM), round(place.bottom_mm / CELL_MM), 480, 48
    )
    watts = SURFACE.effective_w(np.array(HEAD.rated_optical_w * RECIPE.power_ratio))
    solid_j = watts * 60 / RECIPE.feed_mm_per_min * RECIPE.line_spacing_mm  # of one dot
    given = light.sum() / (solid_j * inside.sum())
    dot = replace(DOT, power_exponent=SURFACE.exponent)
    assert MOTION.light(bits, dot)[:, 60:180][inside].mean() == pytest.approx(given, rel=0.015)


def _job(bits):
    return write_job(bits, BytesIO(), ORDER)


def test_some_rows_of_a_picture_run_as_they_do_in_the_whole():
    bits = np.random.default_rng(2).random((30, 120)) < 0.5
    bits[:, 60:] |= np.random.default_rng(3).random((30, 60)) < 0.5
    bits[7] = False

    whole = MOTION.ratios(bits)

    for first in (5, 6, 7, 8, 9):
        part = MOTION.ratios(bits, slice(first, first + 5))
        for of_part, of_whole in zip(part, whole, strict=True):
            assert of_part == pytest.approx(of_whole[first : first + 5], abs=0.03)


def test_the_energy_is_much_the_same_and_less_power_darkens_less_than_its_share():
    bits = coarse_then_fine()

    energy = MOTION.light(bits, replace(DOT, power_exponent=1.0))

    assert energy == pytest.approx(1, abs=0.05)
    assert MOTION.light(bits, DOT)[1, 321:361:2].mean() < 0.9
    dark = darkness(bits, DOT, MOTION.light(bits, DOT))
    assert dark[1, 320:360].mean() < darkness(bits, DOT)[1, 320:360].mean() - 0.05


def test_more_light_is_as_good_as_a_law_that_asks_for_less():
    bits = np.random.default_rng(2).random((30, 30)) < 0.5
    solid = np.ones((30, 30), dtype=bool)

    more, as_good = darkness(bits, DOT, np.float32(0.8)), darkness(bits, lit(DOT, 0.8))

    share = darkness(solid, DOT, np.float32(0.8))[15, 15]  # a law of its own has its own solid
    assert more == pytest.approx(as_good * share, abs=1e-4)


@pytest.mark.slow
def test_a_search_that_knows_the_speeds_leaves_greys_that_are_right_at_them():
    wanted = np.full((60, 300), 0.45, dtype=np.float32)

    aware, unaware = (
        search_dots(wanted, DOT, spacing_mm=0.1, motion=one) for one in (MOTION, None)
    )

    shown = [
        darkness(bits, DOT, MOTION.light(bits, DOT))[10:-10, 60:-60].mean()
        for bits in (aware, unaware)
    ]
    assert shown[0] == pytest.approx(0.45, abs=0.015)
    assert shown[1] < 0.42
