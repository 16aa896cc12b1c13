"""Codes, luminance and lightness against published values."""

import numpy as np
import pytest

from etchphoto.light import (
    lightness,
    linear_to_srgb,
    luminance,
    luminance_of_lightness,
    srgb_to_linear,
)

# IEC 61966-2-1:1999, values computed by colour-science 0.4.7 (`eotf_sRGB`).
LINEAR_OF_CODE = (
    (0, 0.0),
    (1, 0.000303527),
    (10, 0.00303527),  # the last on the straight part
    (11, 0.003346536),  # the first on the power part
    (64, 0.051269458),
    (128, 0.215860500),
    (188, 0.502886458),
    (255, 1.0),
)
SRGB_OF_LINEAR = (
    (0.001, 0.01292),
    (0.01, 0.099852823),
    (0.18, 0.461356130),
    (0.2140411, 0.499999956),
    (0.5, 0.735356983),
    (1.0, 1.0),
)

# Weights of Rec. ITU-R BT.709-6 on linear light; Y and L* computed by colour-science 0.4.7.
COLOURS = (
    ((255, 0, 0), 0.2126, 53.2329),
    ((0, 255, 0), 0.7152, 87.7370),
    ((0, 0, 255), 0.0722, 32.3026),
    ((200, 100, 50), 0.2162399, 53.6258),
    ((50, 100, 200), 0.1396258, 44.1792),
    ((128, 128, 128), 0.2158605, 53.5850),
)

# ISO 11664-4, computed by colour-science 0.4.7 (`lightness_CIE1976`).
LIGHTNESS_OF_Y = (
    (0.001, 0.90330),
    (0.005, 4.51648),
    (0.008856452, 8.0),
    (0.01, 8.99144),
    (0.18, 49.49611),
    (0.5, 76.06926),
    (0.8, 91.68486),
    (1.0, 100.0),
)
Y_OF_LIGHTNESS = (
    (8, 0.008856452),
    (20, 0.029890524),
    (50, 0.184186519),
    (75, 0.482781044),
    (90, 0.763033540),
)


@pytest.mark.parametrize(("code", "linear"), LINEAR_OF_CODE)
def test_a_code_holds_the_light_the_standard_says(code, linear):
    assert srgb_to_linear(np.array(code / 255)) == pytest.approx(linear, abs=5e-10)


@pytest.mark.parametrize(("linear", "value"), SRGB_OF_LINEAR)
def test_light_has_the_value_the_standard_says(linear, value):
    assert linear_to_srgb(np.array(linear)) == pytest.approx(value, abs=5e-9)


def test_every_code_survives_the_way_to_light_and_back():
    codes = np.arange(256)

    assert np.abs(linear_to_srgb(srgb_to_linear(codes / 255)) * 255 - codes).max() < 1e-12


@pytest.mark.parametrize(("colour", "expected", "_lightness"), COLOURS)
def test_a_colour_has_the_luminance_of_its_linear_light(colour, expected, _lightness):
    codes = np.array([[colour]], dtype=np.uint8)

    assert luminance(codes)[0, 0] == pytest.approx(expected, abs=2e-7)


@pytest.mark.parametrize(("_colour", "expected", "seen"), COLOURS)
def test_a_colour_has_the_lightness_an_eye_sees(_colour, expected, seen):
    assert lightness(np.array(expected)) == pytest.approx(seen, abs=1e-4)


@pytest.mark.parametrize(("luminance_y", "seen"), LIGHTNESS_OF_Y)
def test_luminance_has_the_lightness_the_standard_says(luminance_y, seen):
    assert lightness(np.array(luminance_y)) == pytest.approx(seen, abs=1e-5)


@pytest.mark.parametrize(("seen", "luminance_y"), Y_OF_LIGHTNESS)
def test_lightness_has_the_luminance_the_standard_says(seen, luminance_y):
    assert luminance_of_lightness(np.array(float(seen))) == pytest.approx(luminance_y, abs=1e-9)


def test_grey_of_sixteen_bits_keeps_more_than_eight():
    codes = np.array([[32768, 32769]], dtype=np.uint16)

    light = luminance(codes)

    assert light[0, 0] == pytest.approx(float(srgb_to_linear(np.array(32768 / 65535))), abs=1e-7)
    assert light[0, 0] < light[0, 1]


def test_what_is_half_transparent_is_half_tile_in_linear_light():
    black_half_seen = np.array([[[0, 0, 0, 128], [0, 0, 0, 0], [0, 0, 0, 255]]], dtype=np.uint8)

    assert luminance(black_half_seen)[0] == pytest.approx([1 - 128 / 255, 1, 0], abs=1e-7)


def test_grey_with_transparency_lies_over_white_too():
    assert luminance(np.array([[[0, 51]]], dtype=np.uint8))[0, 0] == pytest.approx(0.8, abs=1e-7)
