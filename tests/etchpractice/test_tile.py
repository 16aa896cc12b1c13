"""The tile: dose, spot, surfaces, and the pictures of both.

The settings that must come out well are common practice in the trade, no source. All surfaces
are invented.
"""

import json
import math
from dataclasses import asdict, replace

import numpy as np
import pytest
from PIL import Image

from etchpractice.tile.exposure import CELL_MM
from etchpractice.tile.surface import UnknownSurface, surface_named, surfaces
from etchpractice.tile.tile import PictureTooLarge
from etchwire.catalogue.examples import PRACTICE_HEADS
from support.harnesses.practice_host import Host, raster

pytestmark = pytest.mark.slow

HEAD = PRACTICE_HEADS["practice-20w"]
COMMON_PRACTICE = [(20, 4000, 0.6), (10, 2400, 0.9), (5, 500, 0.8)]
PATCH = (12, 1, 22, 3)  # well inside what `patch` burns


def patch(*, rated_w=20.0, feed=4000, ratio=0.6, rows=40, length_mm=16.0, run_up_mm=9.0, **options):
    """Burn a solid patch from (9, 0) on and return the host."""
    host = Host(head=replace(HEAD, rated_optical_w=rated_w), **options)
    bits = [[1] * round(length_mm / 0.1)] * rows
    host.run(*raster(bits, feed=feed, s=round(ratio * 1000), run_up_mm=run_up_mm))
    return host


@pytest.mark.parametrize(("rated_w", "feed", "ratio"), COMMON_PRACTICE)
def test_settings_of_common_practice_give_a_dark_even_patch(rated_w, feed, ratio):
    tile = patch(rated_w=rated_w, feed=feed, ratio=ratio).machine.tile
    surface = tile.surface

    seen = tile.reflectance(rectangle=PATCH)

    assert seen.mean() < surface.fired_reflectance + 0.01
    assert seen.std() < 0.01
    assert tile.exposure_j_per_mm2(PATCH).max() < 0.7 * surface.damage_j_per_mm2


def test_the_three_common_settings_feel_alike_though_their_doses_differ_fivefold():
    felt = [
        patch(rated_w=w, feed=feed, ratio=ratio).machine.tile.exposure_j_per_mm2(PATCH).mean()
        for w, feed, ratio in COMMON_PRACTICE
    ]
    doses = [w * ratio * 60 / (feed * 0.1) for w, feed, ratio in COMMON_PRACTICE]

    assert max(felt) / min(felt) < 1.06
    assert max(doses) / min(doses) > 2.5


def test_12_w_at_4000_mm_per_min_and_a_tenth_is_1_8_j_per_mm2():
    """Dose P/(v h): 12 W, 66.67 mm/s, 0.1 mm is 1.8 J/mm² (elementary); 12 W counts as it is.

    60 % of S is output level 153 of 255; the coat's own unevenness averages out to 1 %.
    """
    felt = patch().machine.tile.exposure_j_per_mm2(PATCH)

    assert felt.mean() == pytest.approx(1.8, rel=0.015)


def test_all_the_light_of_a_line_is_found_again():
    """A line of 12 W at 4000 mm/min carries 0.18 J/mm (elementary), whatever its spot."""
    host = Host(settings={31: 0})
    host.run("G91G1X9F4000M4S0", "X10S600", "X9S0")

    cells = host.machine.tile.exposure
    left, bottom, right, top = (round(edge / CELL_MM) for edge in cells.bounds_mm)

    total_j = float(cells.window(left, bottom, right - left, top - bottom).sum())
    assert total_j == pytest.approx(10 * 0.18, rel=0.005)


def test_a_line_lies_where_it_was_burnt_and_is_as_wide_as_spot_and_heat():
    host = Host(beam_lag_s=0.0, slack_mm=0.0)
    host.run("G91G1X9Y5F4000M4S0", "X10S600", "X9S0")
    felt = host.machine.tile.exposure_j_per_mm2((10, 4, 18, 6)).mean(axis=1)
    y = 4 + (np.arange(felt.size) + 0.5) * CELL_MM

    centre = (felt * y).sum() / felt.sum()
    spread = math.sqrt((felt * (y - centre) ** 2).sum() / felt.sum())

    surface = host.machine.tile.surface
    expected = math.sqrt(HEAD.spot_y_mm**2 / 12 + surface.heat_spread_mm**2)
    assert centre == pytest.approx(5, abs=0.002)
    assert spread == pytest.approx(expected, rel=0.05)


def test_rows_wider_apart_than_the_spot_leave_light_stripes():
    close, wide = Host(), Host()
    bits = [[1] * 100] * 12
    close.run(*raster(bits, feed=4000, run_up_mm=6))
    wide.run(*raster(bits, feed=4000, run_up_mm=6, spacing_mm=0.25))

    def contrast(host):
        tile = host.machine.tile
        seen = tile.reflectance(mm_per_px=CELL_MM, rectangle=(8, 0.5, 14, 1))
        return np.ptp(seen.mean(axis=1))

    assert contrast(close) < 0.02
    assert contrast(wide) > 0.3


def test_too_little_leaves_the_tile_white_though_the_paint_is_scorched():
    tile = patch(ratio=0.25).machine.tile

    before = tile.reflectance(wiped=False, rectangle=PATCH)
    after = tile.reflectance(rectangle=PATCH)
    assert before.mean() < 0.8 * tile.surface.paint_reflectance
    assert after.mean() > tile.surface.tile_reflectance - 0.03


def test_too_much_breaks_the_glaze_which_turns_pale_and_rough():
    good, broken = patch().machine.tile, patch(feed=1500, run_up_mm=9).machine.tile

    pale = broken.reflectance(mm_per_px=CELL_MM, rectangle=PATCH)

    assert pale.mean() > good.reflectance(rectangle=PATCH).mean() + 0.2
    assert pale.std() > 3 * good.reflectance(mm_per_px=CELL_MM, rectangle=PATCH).std()


def test_more_light_is_never_lighter_until_the_glaze_breaks():
    exposure = np.linspace(0, 3, 200, dtype=np.float32)
    for surface in surfaces().values():
        below = exposure[exposure < surface.damage_j_per_mm2]

        assert (np.diff(surface.wiped(below)) <= 1e-7).all()
        assert (np.diff(surface.unwiped(below)) <= 1e-7).all()


@pytest.mark.parametrize("name", surfaces())
def test_every_surface_has_its_limits_in_order(name):
    surface = surface_named(name)

    limits = [
        surface.scorch_j_per_mm2,
        surface.threshold_j_per_mm2,
        surface.saturation_j_per_mm2,
        surface.damage_j_per_mm2,
    ]
    assert limits == sorted(limits)
    assert surface.fired_reflectance < surface.tile_reflectance <= 1


@pytest.mark.parametrize("name", surfaces())
def test_every_surface_can_be_etched_well_by_some_power(name):
    shown = []
    for ratio in (0.2, 0.3, 0.4, 0.6, 0.8):
        tile = patch(ratio=ratio, rows=20, surface=name).machine.tile
        shown.append(tile.reflectance(rectangle=(12, 0.5, 22, 1.5)).mean())

    assert min(shown) < 0.2


def test_an_unknown_surface_is_refused_with_the_list_of_those_there_are():
    with pytest.raises(UnknownSurface, match="white-tile"):
        Host(surface="marble")


def test_a_surface_of_ones_own_is_read_from_a_file_and_named_after_it(tmp_path):
    file = tmp_path / "cellar-tiles.toml"
    figures = asdict(surface_named("thin-coat"))
    file.write_text("\n".join(f"{one} = {json.dumps(figures[one])}" for one in figures
                              if one != "name"))  # fmt: skip

    described = surface_named(str(file))

    assert described == replace(surface_named("thin-coat"), name="cellar-tiles")
    assert Host(surface=str(file)).machine.tile.reflectance(rectangle=(0, 0, 1, 1)).mean() == (
        pytest.approx(described.tile_reflectance, abs=0.01)
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (None, "cannot be read"),
        ("title = ", "does not describe a surface"),
        ('title = "half a surface"', "damage_j_per_mm2"),
        ("glitter = 1", "glitter"),
    ],
)
def test_a_file_that_describes_no_surface_is_refused_with_what_it_should_say(
    text, reason, tmp_path
):
    file = tmp_path / "tiles.toml"
    if text is not None:
        file.write_text(text)

    with pytest.raises(UnknownSurface, match=reason):
        surface_named(str(file))


def test_the_coat_is_uneven_the_same_way_for_the_same_seed_only():
    def shown(seed):
        tile = patch(feed=9000, rows=20, surface="thin-coat", seed=seed).machine.tile
        return tile.reflectance(rectangle=(12, 0.5, 22, 1.5))

    assert np.array_equal(shown(3), shown(3))
    assert not np.allclose(shown(3), shown(4))


def test_unevenness_does_not_depend_on_what_part_is_looked_at():
    tile = patch(surface="thin-coat").machine.tile
    whole = tile.exposure_j_per_mm2((12, 1, 20, 3))

    part = tile.exposure_j_per_mm2((14, 2, 18, 3))

    assert np.allclose(whole[40:, 80:240], part, atol=1e-4)


def test_a_tile_nothing_was_burnt_on_is_white():
    tile = Host().machine.tile

    assert tile.reflectance().min() == pytest.approx(tile.surface.tile_reflectance)


def test_pictures_before_and_after_wiping_show_the_patch(tmp_path):
    tile = patch().machine.tile
    for name, wiped in (("before.png", False), ("after.png", True)):
        tile.save_picture(tmp_path / name, wiped=wiped, rectangle=(0, -2, 30, 6), mm_per_px=0.1)

    before = np.asarray(Image.open(tmp_path / "before.png"))
    after = np.asarray(Image.open(tmp_path / "after.png"))

    assert before.shape == after.shape == (80, 300)
    assert after[5, 5] == pytest.approx(round(255 * (1.055 * 0.80 ** (1 / 2.4) - 0.055)), abs=1)
    assert after[50, 170] < 75
    assert before[5, 5] > after[5, 5]  # paint is whiter than the tile


def test_the_picture_s_first_row_is_the_top():
    host = patch(rows=10)

    seen = host.machine.tile.reflectance(rectangle=(12, -2, 22, 6))

    assert seen[:40].min() > 0.7
    assert seen[53:58].max() < 0.1


@pytest.mark.parametrize("rectangle", [(0, 0, 0, 5), (5, 5, 1, 1), (0, 0, 1e4, 1e4)])
def test_a_picture_of_nothing_or_of_too_much_is_refused(rectangle):
    with pytest.raises(PictureTooLarge):
        Host().machine.tile.reflectance(rectangle=rectangle)


def test_a_beam_left_standing_burns_a_hole():
    host = Host()
    host.run("G1F1000X5Y5", "M3S1000", "G4P2", "M5")

    tile = host.machine.tile
    felt = tile.exposure_j_per_mm2((4, 4, 6, 6))
    seen = tile.reflectance(mm_per_px=CELL_MM, rectangle=(4, 4, 6, 6))
    assert felt.max() > 100 * tile.surface.damage_j_per_mm2
    assert seen[40, 41] == pytest.approx(tile.surface.damaged_reflectance)


def test_a_slanting_line_carries_the_same_light_as_a_level_one():
    totals = []
    for move in ("X10", "X6Y8"):
        host = Host(beam_lag_s=0.0, slack_mm=0.0)
        host.run("G91G1X9F3000M3S0", f"{move}S600", "X9S0", "M5")
        exposure = host.machine.tile.exposure
        left, bottom, right, top = (round(edge / CELL_MM) for edge in exposure.bounds_mm)
        totals.append(exposure.window(left, bottom, right - left, top - bottom).sum())

    assert totals[1] / totals[0] == pytest.approx(1, rel=0.2)  # it takes a corner, so more time


def test_looking_at_the_tile_in_mid_row_changes_nothing():
    looked, left_alone = Host(), Host()
    lines = raster([[1, 0] * 60] * 6, feed=4000)
    for host in (looked, left_alone):
        host.queue(*lines)
        for _ in range(20):
            host.wait(0.05)
            if host is looked:
                host.machine.tile.exposure_j_per_mm2((0, 0, 5, 1))
        host.run()

    place = (3, 0, 14, 0.6)
    seen, expected = (host.machine.tile.exposure_j_per_mm2(place) for host in (looked, left_alone))
    assert np.allclose(seen, expected, atol=1e-3)


def test_a_new_tile_was_never_burnt_and_burns_as_the_one_before():
    host = patch()
    burnt = host.machine.tile.exposure_j_per_mm2(PATCH)

    host.machine.lay_new_tile()

    assert not host.machine.tile.exposure_j_per_mm2(PATCH).any()
    assert burnt.any()


def test_a_tile_on_a_wedge_is_in_focus_where_it_is_told_and_the_next_one_lies_flat():
    machine = patch().machine
    x_mm, y_mm = np.array([0, 30, 60], np.float32), np.array([0], np.float32)

    machine.lay_on_wedge(rise_mm=12, length_mm=150, in_focus_at_mm=30)
    on_wedge = machine.tile.imperfections.off_focus_mm(x_mm, y_mm)[0]
    machine.lay_new_tile()

    assert on_wedge == pytest.approx([-2.4, 0, 2.4], abs=1e-6)
    assert machine.tile.imperfections.is_in_focus
