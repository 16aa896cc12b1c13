"""The tile as promised, as a picture."""

import numpy as np
import pytest
from PIL import Image

from etchphoto.expected import FIRED_BLACK, TILE_WHITE, draw_preview, save_expected
from etchphoto.light import srgb_to_linear


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
