"""The tile as promised, as a picture."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from etchphoto.dots.speeds import Motion
from etchphoto.expected import (
    FIRED_BLACK,
    TILE_WHITE,
    DotLook,
    draw_preview,
    save_dots,
    save_expected,
    shows_dots,
)
from etchphoto.light import srgb_to_linear
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from support.samples.parts_of_dots import half_a_dot_on, in_halves

DOT = Dot(spread_dots=0.45, threshold=0.25, scale=0.2, steepness=2.0, black=0.06)
HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]


def some_bits(rows, columns):
    return np.random.default_rng(2).random((rows, columns)) < 0.4


@pytest.mark.parametrize(
    ("rows", "columns", "scale"),
    [(3, 4, 4), (500, 300, 4), (600, 500, 3), (1001, 10, 2), (3000, 3, 2)],
)
def test_every_dot_is_a_square_of_two_to_four_pixels(tmp_path, rows, columns, scale):
    bits = some_bits(rows, columns)

    save_expected(bits, tmp_path / "expected.png")

    with Image.open(tmp_path / "expected.png") as picture:
        codes = np.asarray(picture.convert("RGB"))
    assert codes.shape == (rows * scale, columns * scale, 3)
    drawn = np.where(bits[..., np.newaxis], FIRED_BLACK, TILE_WHITE)
    assert (codes == drawn.repeat(scale, axis=0).repeat(scale, axis=1)).all()


def test_the_picture_has_one_bit_a_pixel(tmp_path):
    save_expected(some_bits(1000, 1000), tmp_path / "expected.png")

    assert (tmp_path / "expected.png").stat().st_size < 2000 * 2000 / 8


def test_from_afar_dots_blend_as_light():
    bits = np.indices((400, 400)).sum(axis=0) % 2 == 0

    codes = np.asarray(draw_preview(bits, 40))

    white, black = (srgb_to_linear(np.array(colour) / 255) for colour in (TILE_WHITE, FIRED_BLACK))
    assert codes.shape == (40, 40, 3)
    assert srgb_to_linear(codes[20, 20] / 255) == pytest.approx((white + black) / 2, abs=0.005)


def test_a_small_tile_is_not_blown_up():
    assert draw_preview(some_bits(30, 20), 700).size == (20, 30)


def test_bare_and_solid_have_the_tiles_colours():
    assert draw_preview(np.zeros((9, 9), dtype=bool), 3).getpixel((1, 1)) == TILE_WHITE
    assert draw_preview(np.ones((9, 9), dtype=bool), 3).getpixel((1, 1)) == FIRED_BLACK


def codes_of(picture):
    return np.asarray(picture.convert("RGB")).astype(int)


def test_with_a_dot_bare_and_solid_are_as_the_card_showed_them():
    look = DotLook(DOT)
    white, black = (
        codes_of(draw_preview(np.full((99, 99), is_burnt), 99, look))[49, 49]
        for is_burnt in (False, True)
    )

    light = srgb_to_linear(white / 255), srgb_to_linear(black / 255)
    assert tuple(white) == TILE_WHITE
    assert light[1] / light[0] == pytest.approx(np.full(3, DOT.black), abs=0.003)


def test_a_large_tile_is_drawn_in_strips_without_seams(tmp_path):
    bits = some_bits(300, 40)
    bits[70] = False  # from here on rows go the other way
    look = DotLook(replace(DOT, power_exponent=1.9), Motion(HEAD, RECIPE))

    save_expected(bits, tmp_path / "expected.png", look)

    with Image.open(tmp_path / "expected.png") as picture:
        shades = np.asarray(picture)[::4, ::4]  # the palette's numbers, 255 for solid
    assert shades == pytest.approx(look.darkness(bits) * 255, abs=0.51)


@pytest.mark.parametrize(("rows", "columns"), [(30, 40), (600, 500), (10, 1001)])
def test_whole_dots_given_in_halves_are_drawn_as_whole_dots(tmp_path, rows, columns):
    bits = some_bits(rows, columns)

    save_expected(bits, tmp_path / "whole.png")
    save_expected(in_halves(bits), tmp_path / "halves.png")

    whole, halves = (Image.open(tmp_path / name) for name in ("whole.png", "halves.png"))
    assert (codes_of(halves) == codes_of(whole)).all()
    assert (codes_of(draw_preview(in_halves(bits), 25)) == codes_of(draw_preview(bits, 25))).all()


def test_with_a_dot_whole_dots_given_in_halves_look_as_whole_dots():
    bits = some_bits(80, 60)
    look = DotLook(DOT, Motion(HEAD, RECIPE))

    whole, halves = look.darkness(bits), look.darkness(in_halves(bits))

    assert halves.shape == (80, 60)
    assert halves == pytest.approx(whole, abs=0.03)  # a dot is looked at in other places
    assert halves.mean() == pytest.approx(whole.mean(), abs=0.001)


def test_a_dot_of_which_half_burns_is_half_as_dark_to_begin_with(tmp_path):
    bits = in_halves(np.array([[True, False, False, True]]))
    bits[0, 1, 0] = bits[0, 3, 0] = True
    bits[0, 3, 1] = False

    save_dots(bits, tmp_path / "dots.png", 1)

    white, black = (srgb_to_linear(np.array(colour) / 255) for colour in (TILE_WHITE, FIRED_BLACK))
    with Image.open(tmp_path / "dots.png") as picture:
        light = srgb_to_linear(codes_of(picture)[0] / 255)
    half = (white + black) / 2
    assert light == pytest.approx(np.array([black, half, white, half]), abs=0.005)
    assert codes_of(draw_preview(bits, 4)) == pytest.approx(codes_of(picture), abs=1)


def test_with_a_dot_a_run_that_ends_in_the_middle_of_one_makes_it_about_half_as_dark():
    bits = half_a_dot_on(some_bits(50, 40).repeat(3, axis=1))

    dark = DotLook(DOT).darkness(bits)

    is_cut = bits[..., 0] != bits[..., 1]
    assert dark[is_cut].mean() == pytest.approx(0.5, abs=0.1)
    assert dark[~bits.any(axis=2)].mean() < dark[is_cut].mean() < dark[bits.all(axis=2)].mean()


def test_a_large_tile_in_halves_is_drawn_in_strips_without_seams(tmp_path):
    bits = half_a_dot_on(some_bits(300, 40))
    bits[70] = False  # from here on rows go the other way
    look = DotLook(replace(DOT, power_exponent=1.9), Motion(HEAD, RECIPE))

    save_expected(bits, tmp_path / "expected.png", look)

    with Image.open(tmp_path / "expected.png") as picture:
        shades = np.asarray(picture)[::4, ::4]
    assert shades == pytest.approx(look.darkness(bits) * 255, abs=0.51)


@pytest.mark.parametrize("look", [None, DotLook(DOT)])
def test_a_picture_is_known_by_a_run_that_ends_half_a_dot_further_on(tmp_path, look):
    bits = half_a_dot_on(some_bits(20, 30).repeat(2, axis=1))
    save_expected(bits, tmp_path / "expected.png", look)
    longer = bits.copy()
    row, column = (place[0] for place in np.nonzero(bits[..., 0] & ~bits[..., 1]))
    longer[row, column, 1] = True

    assert shows_dots(tmp_path / "expected.png", bits, look)
    assert not shows_dots(tmp_path / "expected.png", longer, look)
