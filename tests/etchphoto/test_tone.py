"""How much of the area is burnt for each luminance."""

import math

import numpy as np
import pytest

from etchphoto.errors import UnfitOrder
from etchphoto.light import lightness, linear_to_srgb, srgb_to_linear
from etchphoto.tone import Adjustments, ToneCurve, coverage_to_burn

GREYS = np.linspace(0, 1, 11, dtype=np.float32)[np.newaxis]


def test_white_leaves_the_tile_bare_and_black_burns_all_of_it():
    assert coverage_to_burn(GREYS)[0] == pytest.approx(1 - GREYS[0])


def test_the_tile_reflects_each_luminance_in_proportion_whatever_its_two_colours():
    # Murray-Davies: A. Murray, J. Franklin Institute 221, 1936 (form read in secondary sources).
    white, black = 0.80, 0.08

    reflected = white - coverage_to_burn(GREYS) * (white - black)

    assert reflected[0] == pytest.approx(black + GREYS[0] * (white - black))


def test_adjustments_left_alone_change_nothing_to_the_last_bit():
    assert coverage_to_burn(GREYS, Adjustments()).tobytes() == (1 - GREYS).tobytes()


def test_brightness_adds_points_of_lightness():
    seen = lightness(Adjustments(brightness=10).apply(np.array([0.184186519])))

    assert seen[0] == pytest.approx(60, abs=1e-6)


def test_contrast_turns_about_the_middle_of_lightness():
    luminance = np.array([0.184186519, 0.482781044])  # L* 50 and 75, ISO 11664-4

    seen = lightness(Adjustments(contrast=1.5).apply(luminance))

    assert seen == pytest.approx([50, 87.5], abs=1e-6)


def test_gamma_brightens_the_middle_and_keeps_both_ends():
    seen = lightness(Adjustments(gamma=2).apply(np.array([0.0, 0.184186519, 1.0])))

    assert seen == pytest.approx([0, 100 * math.sqrt(0.5), 100], abs=1e-6)


def test_adjustments_never_leave_black_or_white():
    adjusted = Adjustments(brightness=60, contrast=4).apply(GREYS)

    assert (adjusted.min(), adjusted.max()) == (0, pytest.approx(1))


@pytest.mark.parametrize("black", [0.03, 0.08, 0.3])
def test_shadows_opened_fully_lie_half_way_to_equal_steps_of_lightness(black):
    """L* by scikit-image (rgb2lab of greys, CIE 15), not by ours."""
    from skimage.color import rgb2lab  # noqa: PLC0415  slow to load

    codes = np.arange(0, 256, 15) / 255
    photo = rgb2lab(np.repeat(codes[:, np.newaxis], 3, axis=1))[:, 0]
    light = srgb_to_linear(codes).astype(np.float32)

    def on_tile(open_shadows):
        adjustments = Adjustments(open_shadows=open_shadows)
        burnt = coverage_to_burn(light[np.newaxis], adjustments, black=black)[0]
        shown = linear_to_srgb(1 - burnt * (1 - black))
        return rgb2lab(np.repeat(shown[:, np.newaxis], 3, axis=1))[:, 0]

    before = on_tile(0)
    equal_steps = before[0] + photo / 100 * (100 - before[0])
    assert on_tile(100) == pytest.approx((before + equal_steps) / 2, abs=0.05)
    assert on_tile(40) == pytest.approx(before * 0.8 + equal_steps * 0.2, abs=0.05)


def test_opening_the_shadows_leaves_black_and_white():
    opened = Adjustments(open_shadows=100).apply(np.array([0.0, 1.0]))

    assert opened == pytest.approx([0, 1], abs=1e-6)


@pytest.mark.parametrize(
    "wrong",
    [
        {"brightness": math.nan},
        {"brightness": 100},
        {"contrast": 0},
        {"contrast": -1},
        {"contrast": math.inf},
        {"gamma": 0},
        {"gamma": math.nan},
        {"open_shadows": -1},
        {"open_shadows": 101},
        {"open_shadows": math.nan},
    ],
)
def test_adjustments_that_leave_no_picture_are_refused(wrong):
    with pytest.raises(UnfitOrder, match=next(iter(wrong)).replace("_", " ")):
        Adjustments(**wrong)


def test_a_tone_curve_says_what_to_burn_for_what_is_wanted():
    curve = ToneCurve.from_points([(0, 0), (0.5, 0.3), (1, 0.9)])

    assert curve.apply(np.array([0, 0.25, 0.5, 0.75, 1])) == pytest.approx([0, 0.15, 0.3, 0.6, 0.9])


def test_what_a_share_looks_like_is_the_curve_turned_round():
    curve = ToneCurve((0.0, 0.25, 1.0), (0.0, 0.1, 0.8))
    wanted = np.array([0.0, 0.1, 0.25, 0.6, 1.0])

    assert curve.looks_like(curve.apply(wanted)) == pytest.approx(wanted)


def test_the_tone_curve_comes_after_the_adjustments():
    curve = ToneCurve((0.0, 1.0), (0.0, 0.5))

    assert coverage_to_burn(GREYS, curve=curve)[0] == pytest.approx((1 - GREYS[0]) / 2)


@pytest.mark.parametrize(
    ("wanted", "to_burn"),
    [
        ((), ()),
        ((0.0,), (0.0,)),
        ((0.0, 0.9), (0.0, 1.0)),
        ((0.1, 1.0), (0.0, 1.0)),
        ((0.0, 0.5, 0.5, 1.0), (0.0, 0.2, 0.3, 1.0)),
        ((0.0, 0.5, 1.0), (0.0, 0.6, 0.5)),
        ((0.0, 1.0), (0.0, 1.1)),
        ((0.0, 1.0), (-0.1, 1.0)),
        ((0.0, 1.0), (0.0, math.nan)),
        ((0.0, 0.5, 1.0), (0.0, 1.0)),
    ],
)
def test_a_tone_curve_that_does_not_rise_over_every_share_is_refused(wanted, to_burn):
    with pytest.raises(UnfitOrder, match="tone curve"):
        ToneCurve(wanted, to_burn)


def test_rows_are_worked_out_in_pieces_without_a_seam():
    luminance = np.random.default_rng(5).random((600, 7), dtype=np.float32)
    adjustments = Adjustments(gamma=1.3)

    coverage = coverage_to_burn(luminance, adjustments)

    assert coverage.tobytes() == (1 - adjustments.apply(luminance)).astype(np.float32).tobytes()
