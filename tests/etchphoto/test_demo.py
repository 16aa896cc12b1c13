"""The demo picture shows what a tile's quality is judged by."""

import numpy as np
import pytest
from PIL import Image

from etchphoto.demo import LIGHTHOUSE
from etchphoto.light import luminance

SIDE_PX = 300
HORIZON = 0.66  # shares of the side, as drawn
LAMP = (0.665, 0.236)


@pytest.fixture(scope="module")
def light():
    with Image.open(LIGHTHOUSE) as photo:
        return luminance(np.asarray(photo.convert("RGB").reduce(photo.width // SIDE_PX)))


def around(light, x, y, reach=6):
    column, row = int(x * SIDE_PX), int(y * SIDE_PX)
    return light[row - reach : row + reach, column - reach : column + reach]


def test_the_sky_brightens_smoothly_from_the_top_to_the_horizon(light):
    sky = light[: int(HORIZON * SIDE_PX) - 2, 120:150].mean(axis=1)

    assert sky[-1] > 3 * sky[0]
    assert np.abs(np.diff(sky)).max() < 0.03


def test_the_lamp_is_white_and_its_glow_fades(light):
    assert around(light, *LAMP, reach=2).max() > 0.95
    near, far = around(light, LAMP[0] - 0.09, 0.225), around(light, LAMP[0] - 0.35, 0.19)
    assert near.mean() > far.mean() > light[2:10, 2:10].mean()


def test_the_rock_is_dark_and_the_sea_has_texture(light):
    assert around(light, 0.8, 0.93).mean() < 0.05
    assert np.diff(light[int(0.8 * SIDE_PX) :, : SIDE_PX // 4], axis=0).std() > 0.01
