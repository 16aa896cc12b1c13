"""One luminance for each dot, averaged as light and in one step."""

import io
from functools import cache

import numpy as np
import pytest
from PIL import Image

from etchphoto.decoder.decoding import ShallowPicture
from etchphoto.decoder.loading import load_photo
from etchphoto.framing import Crop, frame_photo
from etchphoto.light import luminance
from etchphoto.resampling import STRIP_PIXELS, luminance_per_dot, rows_of_dots
from support.samples.photo_files import PHOTOGRAPHS, encoded, exif, scene


def per_dot(file, columns, rows, *, crop=None, on_progress=lambda _: None):
    photo = load_photo(io.BytesIO(file))
    frame = frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=columns * 0.1,
        height_mm=rows * 0.1,
        line_spacing_mm=0.1,
        crop=crop,
    )
    return luminance_per_dot(photo, frame, on_progress)


def chequered(side, square=1):
    rows, columns = np.indices((side, side)) // square
    return (255 * ((rows + columns) % 2)).astype(np.uint8)


def test_half_black_and_half_white_is_half_the_light_and_not_half_the_code():
    # Computed: mean linear 0.5 is code 188; the mean code 127.5 would be 0.214 of the light.
    light = per_dot(encoded(chequered(400), "PNG"), 40, 40)

    assert light[2:-2, 2:-2] == pytest.approx(0.5, abs=0.01)
    assert light.mean() == pytest.approx(0.5, abs=0.002)


@pytest.mark.slow
@pytest.mark.parametrize(("columns", "rows"), [(40, 40), (33, 33), (7, 7), (150, 150), (1, 1)])
def test_an_even_grey_stays_even_at_any_size(columns, rows):
    grey = np.full((100, 100), 188, dtype=np.uint8)

    light = per_dot(encoded(grey, "PNG"), columns, rows)

    assert light.shape == (rows, columns)
    assert light == pytest.approx(0.502886458, abs=1e-6)  # IEC 61966-2-1, code 188


@cache
def large_photo():
    """Return the luminance of a photo of several strips, and its file."""
    picture = scene(2400, 1600)
    return luminance(picture), encoded(picture, "PNG", compress_level=1)


@pytest.mark.slow
@pytest.mark.parametrize(("columns", "rows"), [(360, 240), (333, 222), (72, 48)])
def test_strips_join_without_a_seam(columns, rows):
    whole, file = large_photo()
    assert whole.size > 3 * STRIP_PIXELS
    theirs = Image.fromarray(whole).resize((columns, rows), Image.Resampling.HAMMING)

    light = per_dot(file, columns, rows)

    np.testing.assert_allclose(light, np.asarray(theirs), rtol=0, atol=2e-6)


def test_a_small_photo_made_large_joins_without_a_seam_and_a_few_rows_at_a_time():
    picture = ShallowPicture((60, 40), Image.fromarray(scene()).crop, Image.fromarray(scene()))
    theirs = Image.fromarray(luminance(scene())).resize((1800, 1200), Image.Resampling.BICUBIC)

    strips = list(rows_of_dots(picture, Crop(0, 0, 1, 1), (1800, 1200)))

    assert max(strip.size for strip in strips) <= STRIP_PIXELS
    np.testing.assert_allclose(np.concatenate(strips), np.asarray(theirs), rtol=0, atol=2e-6)


def test_light_stays_between_black_and_white_where_edges_would_ring():
    light = per_dot(encoded(chequered(64, square=16), "PNG"), 200, 200)

    assert (light.min(), light.max()) == (0, 1)


def test_between_the_pixels_of_a_small_photo_light_runs_straight():
    ramp = (np.arange(40, dtype=np.uint16)[np.newaxis] * 1500).repeat(8, axis=0)
    steps = np.diff(per_dot(encoded(ramp, "PNG"), 200, 40)[20, 110:180])

    assert np.abs(np.diff(steps)).max() < 0.1 * steps.min()


def test_a_crop_shows_that_part_of_the_photo():
    light = per_dot(encoded(scene(), "PNG"), 30, 20, crop=Crop(0.5, 0.5, 1.0, 1.0))

    assert light == pytest.approx(luminance(scene()[20:, 30:]), abs=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_crop_is_of_the_upright_photo(orientation):
    turned = {
        1: lambda a: a, 2: np.fliplr, 3: lambda a: np.rot90(a, 2), 4: np.flipud,
        5: lambda a: a.swapaxes(0, 1), 6: np.rot90, 7: lambda a: np.rot90(a, 2).swapaxes(0, 1),
        8: lambda a: np.rot90(a, -1),
    }  # fmt: skip
    stored = np.ascontiguousarray(turned[orientation](scene()))  # how the camera laid it down

    light = per_dot(
        encoded(stored, "PNG", exif=exif(orientation)), 20, 10, crop=Crop(0.5, 0.25, 5 / 6, 0.5)
    )

    assert light == pytest.approx(luminance(scene()[10:20, 30:50]), abs=0.02)


@pytest.mark.slow
def test_progress_rises_to_the_end():
    heard = []

    per_dot(encoded(scene(2000, 1500), "JPEG"), 400, 300, on_progress=heard.append)

    assert len(heard) > 2
    assert heard == sorted(heard)
    assert heard[-1] == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "path", "mean_y"), PHOTOGRAPHS, ids=[row[0] for row in PHOTOGRAPHS]
)
def test_a_real_photograph_has_the_light_that_was_computed_for_it(name, path, mean_y):
    photo = load_photo(path)
    size = {"width_mm": photo.width_px * 0.1, "height_mm": photo.height_px * 0.1}
    frame = frame_photo(photo.width_px, photo.height_px, line_spacing_mm=0.1, **size)

    assert luminance_per_dot(photo, frame).mean() == pytest.approx(mean_y, abs=0.0005), name
