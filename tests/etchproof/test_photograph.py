"""A photo of a card as light, however large it comes."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from etchproof.reading.photograph import load_photograph

pytestmark = pytest.mark.slow


@pytest.mark.slow
def test_a_large_photo_without_a_scaling_decoder_is_averaged_as_light():
    """Half black and half white is half the light, in sRGB's codes 188 and not 127."""
    board = np.tile(np.array([[0, 255], [255, 0]], np.uint8), (1801, 2400))
    file = BytesIO()
    Image.fromarray(board).save(file, "PNG")

    photo = load_photograph(BytesIO(file.getvalue()), name="board")

    assert photo.light.shape == photo.codes.shape == (1801, 2400)
    assert np.abs(photo.light - 0.5).max() < 1e-6


def test_a_photo_of_no_more_than_sixteen_megapixels_keeps_its_pixels():
    file = BytesIO()
    Image.new("L", (4000, 3000), 128).save(file, "PNG")

    photo = load_photograph(BytesIO(file.getvalue()), name="grey")

    assert photo.light.shape == (3000, 4000)
