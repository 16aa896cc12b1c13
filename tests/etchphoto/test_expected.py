"""The tile as promised, as a picture."""

import numpy as np
import pytest
from PIL import Image

from etchphoto.dots.rendering import darkness
from etchphoto.expected import FIRED_BLACK, TILE_WHITE, DotLook, draw_preview, save_expected
from etchphoto.light import srgb_to_linear
from etchphoto.tone import BURNT_AS_WANTED, ToneCurve
from etchwire.catalogue.dot import Dot

DOT = Dot(spread_dots=0.45, threshold=0.25, scale=0.2, steepness=2.0, black=0.06)


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
    look = DotLook(DOT, BURNT_AS_WANTED)
    white, black = (
        codes_of(draw_preview(np.full((99, 99), is_burnt), 99, look))[49, 49]
        for is_burnt in (False, True)
    )

    light = srgb_to_linear(white / 255), srgb_to_linear(black / 255)
    assert tuple(white) == TILE_WHITE
    assert light[1] / light[0] == pytest.approx(np.full(3, DOT.black), abs=0.003)


@pytest.mark.parametrize("share", [0.15, 0.4, 0.7, 0.9])
def test_an_even_grey_is_as_dark_as_the_cards_own_steps_were(share):
    """What the curve says a burnt share looks like, whatever the dot's law makes of it."""
    looks = share**1.5
    curve = ToneCurve((0.0, looks, 1.0), (0.0, share, 1.0))
    bits = np.random.default_rng(3).random((200, 200)) < share

    dark = DotLook(DOT, curve).darkness(bits)[20:-20, 20:-20]

    assert dark.mean() == pytest.approx(looks, abs=0.02)
    assert darkness(bits, DOT)[20:-20, 20:-20].mean() != pytest.approx(looks, abs=0.02)


def test_a_large_tile_is_drawn_in_strips_without_seams(tmp_path):
    bits = some_bits(300, 40)
    look = DotLook(DOT, BURNT_AS_WANTED)

    save_expected(bits, tmp_path / "expected.png", look)

    with Image.open(tmp_path / "expected.png") as picture:
        shades = np.asarray(picture)[::4, ::4]  # the palette's numbers, 255 for solid
    assert shades == pytest.approx(look.darkness(bits) * 255, abs=0.51)
