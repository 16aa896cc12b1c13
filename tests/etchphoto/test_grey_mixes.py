"""From colour to grey in several ways."""

import io

import numpy as np
import pytest

from etchphoto.decoder.loading import load_photo
from etchphoto.framing import frame_photo
from etchphoto.grey_mixes import EYE, GREY_MIXES
from etchphoto.light import luminance, srgb_to_linear
from etchphoto.resampling import luminance_per_dot, luminances_per_dot
from support.samples.photo_files import encoded, scene

SKIN = np.array([[[220, 170, 140]]], dtype=np.uint8)
SKY = np.array([[[90, 150, 220]]], dtype=np.uint8)


@pytest.mark.parametrize("mix", GREY_MIXES)
def test_a_grey_stays_as_it_is_in_every_mix(mix):
    grey = np.full((1, 1, 3), 119, dtype=np.uint8)

    light = luminance(grey, GREY_MIXES[mix])

    assert light[0, 0] == pytest.approx(srgb_to_linear(np.array(119 / 255)), abs=1e-6)


@pytest.mark.slow
def test_the_eyes_mix_is_that_of_the_standard():
    from skimage.color import rgb2gray  # noqa: PLC0415  slow to load

    # skimage.color.rgb2gray weighs by ITU-R BT.709, with one digit less in the weights.
    linear = srgb_to_linear(SKIN / 255)

    assert luminance(SKIN, GREY_MIXES[EYE])[0, 0] == pytest.approx(rgb2gray(linear)[0, 0], abs=5e-4)


def test_red_lightens_skin_and_darkens_sky_and_blue_does_the_contrary():
    # Colour filters in black-and-white photography: common practice, no source.
    skin = {mix: luminance(SKIN, weights)[0, 0] for mix, weights in GREY_MIXES.items()}
    sky = {mix: luminance(SKY, weights)[0, 0] for mix, weights in GREY_MIXES.items()}

    assert skin["red"] > skin["eye"] > skin["blue"]
    assert sky["red"] < sky["eye"] < sky["blue"]


def test_all_mixes_of_one_decoding_are_as_if_each_had_its_own():
    photo = load_photo(io.BytesIO(encoded(scene(60, 40), "PNG")))
    frame = frame_photo(60, 40, width_mm=30.0, height_mm=None, line_spacing_mm=1.0)

    together = luminances_per_dot(photo, frame, tuple(GREY_MIXES.values()))

    for light, weights in zip(together, GREY_MIXES.values(), strict=True):
        assert light == pytest.approx(luminance_per_dot(photo, frame, weights=weights), abs=1e-7)
