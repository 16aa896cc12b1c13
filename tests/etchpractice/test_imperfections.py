"""What goes wrong on a practice tile: off until it is asked for, and then as it is written.

Handbook formulas have their source beside them; the rest is held to its own description.
"""

import numpy as np
import pytest

from etchpractice.diode import Diode
from etchpractice.motion.track import Strokes
from etchpractice.scenario.script import FaultyScenario, read_scenario
from etchpractice.tile.imperfections import (
    NONE,
    RAYLEIGH_MM,
    TILE_MM,
    Imperfections,
    UnfitImperfection,
    read_imperfections,
    spot_growth,
)
from etchpractice.tile.surface import surface_named
from etchpractice.tile.tile import Tile

SURFACE = surface_named("white-tile")
SHOWN = (5.0, 5.0, 25.0, 25.0)
SPOT_MM = 0.08


def tile_of(imperfections=NONE):
    return Tile(
        SURFACE, rated_optical_w=12.0, spot_x_mm=SPOT_MM, spot_y_mm=SPOT_MM, levels=1000,
        imperfections=imperfections,
    )  # fmt: skip


def burnt(tile, j_per_mm2, *, rows=200, spacing_mm=0.1, first_mm=5.0):
    """Burn an even solid of this exposure over SHOWN, at the surface's reference power."""
    y = first_mm + spacing_mm * (np.arange(rows) + 0.5)
    ones = np.ones(rows)
    lasts_s = ones * j_per_mm2 * spacing_mm * 20.0 / 12.0
    tile.expose(Strokes(5.0 * ones, y, 25.0 * ones, y, lasts_s, 1000.0 * ones))
    return tile


def wiped(imperfections, j_per_mm2, **look):
    return burnt(tile_of(imperfections), j_per_mm2).reflectance(rectangle=SHOWN, **look)


@pytest.mark.fault("nothing goes wrong")
@pytest.mark.parametrize("j_per_mm2", [0.3, 0.8, 1.8, 6.0])
def test_a_tile_is_flawless_until_something_else_is_asked_for(j_per_mm2):
    tile = burnt(tile_of(), j_per_mm2)

    seen = tile.reflectance(rectangle=SHOWN, mm_per_px=0.025)

    assert (seen[::-1] == SURFACE.wiped(tile.exposure_j_per_mm2(SHOWN))).all()


def test_a_spot_grows_out_of_focus_as_a_gaussian_beam_does():
    """w(z) = w0 sqrt(1 + (z / z_R)²), z_R = pi w0² / (M² lambda): any handbook of optics."""
    rayleigh_mm = np.pi * 0.04**2 / (10 * 450e-6)

    assert pytest.approx(rayleigh_mm, rel=1e-3) == RAYLEIGH_MM
    assert spot_growth(0.0) == 1
    assert spot_growth(RAYLEIGH_MM) == pytest.approx(2**0.5)
    assert spot_growth(-3 * RAYLEIGH_MM) == pytest.approx(10**0.5)


@pytest.mark.fault("out of focus")
@pytest.mark.parametrize("off_mm", [0.0, 1.0, 2.5])
def test_a_line_burnt_out_of_focus_is_as_wide_as_its_spot_and_the_heat(off_mm):
    tile = burnt(tile_of(Imperfections(defocus_mm=off_mm)), 1.0, rows=1, first_mm=14.95)

    across = tile.exposure_j_per_mm2((14.0, 13.0, 16.0, 17.0)).mean(axis=1)

    y = (np.arange(across.size) - across.size / 2 + 0.5) * 0.025
    variance = (across * y**2).sum() / across.sum()
    expected = (SPOT_MM * spot_growth(off_mm)) ** 2 / 12 + SURFACE.heat_spread_mm**2
    # The line lies between two rows of cells, and light is shared between them: (cell / 2)².
    assert variance == pytest.approx(expected + 0.0125**2, rel=0.06)


@pytest.mark.fault("out of focus")
def test_the_middle_of_a_bowed_tile_stands_higher_than_its_corners():
    bowed = Imperfections(bow_mm=1.0)
    along = np.array([0.0, TILE_MM / 2, TILE_MM], dtype=np.float32)

    off_mm = bowed.off_focus_mm(along, along)

    assert off_mm[1, 1] == pytest.approx(1.0)
    assert off_mm[[0, 0, -1, -1], [0, -1, 0, -1]] == pytest.approx(np.zeros(4), abs=1e-6)


def test_focus_is_lost_along_a_wedge():
    tile = burnt(tile_of(Imperfections(tilt_mm_per_mm=0.2)), 1.8, rows=100, spacing_mm=0.2)

    felt = tile.exposure_j_per_mm2(SHOWN)

    ripple = felt.std(axis=0)  # of lines that do not close, where the spot is narrow
    assert ripple[40:80].mean() > 1.5 * ripple[-80:-40].mean()


@pytest.mark.fault("too little dose")
def test_less_dose_rubs_off_and_enough_stays():
    weak, strong = (wiped(Imperfections(rubs_off_below_j_per_mm2=1.5), dose) for dose in (0.9, 2.0))

    inner = (slice(20, -20), slice(20, -20))
    assert weak[inner].mean() > wiped(NONE, 0.9)[inner].mean() + 0.1
    assert strong[inner] == pytest.approx(wiped(NONE, 2.0)[inner])


@pytest.mark.fault("wiped badly")
def test_paint_is_left_on_the_share_of_the_tile_that_is_said():
    seen = wiped(Imperfections(paint_left=0.25), 0.0, mm_per_px=0.025)

    is_paint = np.abs(seen - SURFACE.paint_reflectance) < 0.001
    assert is_paint.mean() == pytest.approx(0.25, abs=0.01)


@pytest.mark.fault("wiped badly")
def test_a_haze_greys_white_and_pales_black_by_no_more_than_is_said():
    white, black = (wiped(Imperfections(haze=0.3), dose)[20:-20, 20:-20] for dose in (0.0, 1.8))
    clean, fired = SURFACE.tile_reflectance, SURFACE.fired_reflectance

    assert white.mean() < clean
    assert white.min() > clean - 0.3 * (clean - fired)
    assert black.mean() > fired
    assert black.max() < fired + 0.3 * (clean - fired)


@pytest.mark.fault("far too much dose")
def test_wiping_again_takes_off_what_the_first_time_left():
    once, again, clean = (
        wiped(one, 0.0)
        for one in (
            Imperfections(paint_left=0.3, haze=0.3),
            Imperfections(paint_left=0.3, haze=0.3, wiped_again=3),
            NONE,
        )
    )

    off_once, off_again = (float(np.abs(one - clean).mean()) for one in (once, again))
    assert off_once > 0.02
    assert off_again < 0.2 * off_once


def test_only_a_broken_glaze_is_rough():
    rough = Imperfections(roughness=0.2)
    inner = (slice(20, -20), slice(20, -20))

    assert wiped(rough, 1.8)[inner] == pytest.approx(wiped(NONE, 1.8)[inner])
    assert wiped(rough, 6.0)[inner].std() > 5 * wiped(NONE, 6.0)[inner].std()


@pytest.mark.fault("an old diode")
def test_a_diode_loses_its_share_with_each_hour_of_beam_and_with_no_other():
    diode, one = Diode(fade_per_h=0.1), np.ones(1)
    lit = Strokes(one, one, one, one, 3600.0 * one, 1000.0 * one)

    after = [
        float(diode.faded(strokes).level[0]) for strokes in (lit, lit._replace(level=0 * one), lit)
    ]

    assert after == pytest.approx([900.0, 0.0, 800.0])


def test_a_diode_that_was_asked_for_nothing_never_fades():
    one = np.ones(1)
    lit = Strokes(one, one, one, one, 1e9 * one, 1000.0 * one)

    assert Diode().faded(lit) is lit


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("smell=1", "is no imperfection; there are rubs_off_below"),
        ("haze", "has no figure"),
        ("haze=much", "has no figure"),
        ("haze=1.5", "a share, 0 to 1"),
        ("fade_per_h=-1", "0 or more"),
        ("fade_per_h=nan", "0 or more"),
        ("bow_mm=inf", "lies between"),
    ],
)
def test_an_imperfection_that_nobody_can_mean_is_refused_in_words(said, words):
    with pytest.raises(UnfitImperfection, match=words):
        read_imperfections((said,))


def test_what_is_said_on_the_command_line_is_what_the_tile_gets():
    assert read_imperfections(("haze=0.3", "bow_mm=-0.5")) == Imperfections(haze=0.3, bow_mm=-0.5)
    assert read_imperfections(()) == NONE


@pytest.mark.parametrize(("key", "words"), [("smell", "not known"), ("haze", "a share, 0 to 1")])
def test_a_scenario_with_an_unfit_tile_says_so(key, words):
    with pytest.raises(FaultyScenario, match=words):
        read_scenario(
            f'about = "x"\n[tile]\n{key} = 2\n[[step]]\nexpect = {{ rows = "each once" }}\n'
        )
