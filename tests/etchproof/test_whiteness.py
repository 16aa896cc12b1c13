"""Two tiles in one photo: how much whiter one is, under light of which only the truth is known."""

from io import BytesIO

import numpy as np
import pytest

from darkroom.camera import Shot, photograph
from darkroom.two_tiles import photographs, two_tiles
from etchproof.errors import PhotoRefused
from etchproof.reading.photograph import load_photograph
from etchproof.reading.whiteness import compare_whites


def compared(photo: BytesIO):
    return compare_whites(load_photograph(photo).light)


@pytest.mark.slow
def test_the_difference_of_two_tiles_is_told_within_what_is_said_of_it():
    """L* known to the invented camera alone; all 40 are in `measure/whiteness_test`."""
    found = [(compared(photo), truth) for photo, truth in photographs(4)]

    assert all(abs(one.lightness - truth) <= one.give_or_take for one, truth in found)
    assert all(one.give_or_take <= 1.0 for one, _ in found)


@pytest.mark.slow
def test_tiles_of_one_lot_are_told_to_be_alike_and_the_sign_is_that_of_the_right_one():
    alike = compared(photograph(two_tiles(94, 94), Shot(fill=1.28, light_ratio=2.0)))
    darker = compared(photograph(two_tiles(94, 91), Shot(fill=1.28)))

    assert abs(alike.lightness) <= alike.give_or_take
    assert darker.lightness == pytest.approx(-3, abs=0.3)


@pytest.mark.slow
def test_dots_and_dirt_on_the_tiles_do_not_count():
    tile = two_tiles(93, 95)
    tile.reflectance[60:90, 100:160] = 0.05

    assert compared(photograph(tile, Shot(fill=1.28))).lightness == pytest.approx(2, abs=0.4)


@pytest.mark.parametrize(
    "light",
    [
        np.tile(np.where(np.arange(900) < 450, 0.5, 0.02), (600, 1)),
        np.where(np.add.outer(np.arange(600), np.arange(900)) < 750, 0.6, 0.1),
    ],
    ids=["one tile only", "a lamp's edge across both"],
)
def test_what_the_light_does_not_tell_is_refused_with_what_to_do(light):
    with pytest.raises(PhotoRefused, match="edge to edge, fill the picture with both"):
        compare_whites(light.astype(np.float32))
