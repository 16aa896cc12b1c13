"""Turning a photo by quarters, whichever way the camera was held."""

import numpy as np
import pytest

from etchphoto.decoder.loading import load_photo
from etchphoto.errors import UnfitOrder
from etchphoto.framing import frame_photo
from etchphoto.light import luminance
from etchphoto.resampling import luminance_per_dot
from etchphoto.turning import mirrored, turned
from support.samples.photo_files import encoded, exif, scene

pytestmark = pytest.mark.slow

CLOCKWISE = {0: 0, 1: -1, 2: 2, 3: 1}  # numpy turns the other way
HELD = {1: 0, 3: 2, 6: -1, 8: 1}  # EXIF tag 274


@pytest.mark.parametrize("quarters", range(4))
@pytest.mark.parametrize("orientation", HELD)
def test_a_photo_turns_clockwise_from_how_it_stands_upright(tmp_path, orientation, quarters):
    path = tmp_path / "scene.png"
    path.write_bytes(encoded(scene(), "PNG", exif=exif(orientation)))

    photo = turned(load_photo(path), quarters)

    upright = np.rot90(np.rot90(scene(), HELD[orientation]), CLOCKWISE[quarters])
    assert (photo.height_px, photo.width_px) == upright.shape[:2]
    frame = frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=float(photo.width_px),
        height_mm=None,
        line_spacing_mm=1.0,
    )
    assert luminance_per_dot(photo, frame) == pytest.approx(luminance(upright), abs=1e-6)


@pytest.mark.parametrize("quarters", range(4))
@pytest.mark.parametrize("orientation", HELD)
def test_a_mirrored_photo_has_left_and_right_exchanged_as_it_stands(
    tmp_path, orientation, quarters
):
    path = tmp_path / "scene.png"
    path.write_bytes(encoded(scene(), "PNG", exif=exif(orientation)))
    photo = turned(load_photo(path), quarters)
    width_mm = float(photo.width_px)
    frame = frame_photo(
        photo.width_px, photo.height_px, width_mm=width_mm, height_mm=None, line_spacing_mm=1.0
    )

    light = luminance_per_dot(mirrored(photo), frame)

    assert light == pytest.approx(np.fliplr(luminance_per_dot(photo, frame)), abs=1e-6)


@pytest.mark.parametrize("quarters", [-1, 4])
def test_other_turns_are_refused(tmp_path, quarters):
    path = tmp_path / "scene.png"
    path.write_bytes(encoded(scene(), "PNG"))

    with pytest.raises(UnfitOrder, match="0 to 3 quarters"):
        turned(load_photo(path), quarters)
