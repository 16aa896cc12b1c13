"""From colour to grey in several ways."""

import numpy as np
import pytest
from skimage.color import rgb2gray

from etchphoto.grey_mixes import EYE, GREY_MIXES
from etchphoto.light import luminance, srgb_to_linear

SKIN = np.array([[[220, 170, 140]]], dtype=np.uint8)
SKY = np.array([[[90, 150, 220]]], dtype=np.uint8)


@pytest.mark.parametrize("mix", GREY_MIXES)
def test_a_grey_stays_as_it_is_in_every_mix(mix):
    grey = np.full((1, 1, 3), 119, dtype=np.uint8)

    light = luminance(grey, GREY_MIXES[mix])

    assert light[0, 0] == pytest.approx(srgb_to_linear(np.array(119 / 255)), abs=1e-6)


def test_the_eyes_mix_is_that_of_the_standard():
    # skimage.color.rgb2gray weighs by ITU-R BT.709, with one digit less in the weights.
    linear = srgb_to_linear(SKIN / 255)

    assert luminance(SKIN, GREY_MIXES[EYE])[0, 0] == pytest.approx(rgb2gray(linear)[0, 0], abs=5e-4)


def test_red_lightens_skin_and_darkens_sky_and_blue_does_the_contrary():
    # Colour filters in black-and-white photography: common practice, no source.
    skin = {mix: luminance(SKIN, weights)[0, 0] for mix, weights in GREY_MIXES.items()}
    sky = {mix: luminance(SKY, weights)[0, 0] for mix, weights in GREY_MIXES.items()}

    assert skin["red"] > skin["eye"] > skin["blue"]
    assert sky["red"] < sky["eye"] < sky["blue"]
