"""The first picture anybody sees: the practice tile beside its promise and the photo it holds.

Greys are compared as an eye sees them from 350 mm, by the luminance channel of S-CIELAB
(`etchphoto.dots.eye`), as L* (CIE 1976, ISO 11664-4:2008). The limits are our choice.
"""

import numpy as np
import pytest
from PIL import Image

from darkroom.practice import run_on_practice
from etchphoto.decoder.loading import load_photo
from etchphoto.demo import LIGHTHOUSE
from etchphoto.dots.eye import seen
from etchphoto.expected import TILE_WHITE
from etchphoto.job import PhotoOrder, frame_of, prepare_job
from etchphoto.light import lightness, srgb_to_linear
from etchphoto.measured_tone import MeasuredTone
from etchphoto.resampling import luminance_per_dot
from etchpractice.tile.surface import surface_named
from etchwarden.commands.practice import PICTURE_HALFTONE
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECORDS
from etchwire.sheet import GCODE_NAME, PICTURE_NAME

pytestmark = pytest.mark.slow

SURFACE = surface_named("white-tile")
RECORD, HEAD = PRACTICE_RECORDS["practice-20w"], PRACTICE_HEADS["practice-20w"]
WEIGHTS = (0.2126, 0.7152, 0.0722)


def looks(reflectance):
    return lightness(np.maximum(seen(reflectance, RECORD.line_spacing_mm), 0))


def rms(off):
    return float(np.sqrt(np.mean(np.square(off))))


@pytest.fixture(scope="module")
def etch(tmp_path_factory):
    """Return how promise, tile and photo look, as L*, a value for each dot."""
    folder = tmp_path_factory.mktemp("promise") / "job"
    order = PhotoOrder(
        head=HEAD, recipe=RECORD.settings(), tone=MeasuredTone.from_record(RECORD.to_table()),
        halftone=PICTURE_HALFTONE, width_mm=25.0,
    )  # fmt: skip
    photo = load_photo(LIGHTHOUSE)
    frame = prepare_job(photo, order, folder=folder).picture
    machine = run_on_practice((folder / GCODE_NAME).read_bytes(), HEAD, "white-tile")
    shown = (frame.left_mm, frame.bottom_mm, frame.right_mm, frame.top_mm)
    tile = machine.tile.reflectance(rectangle=shown, mm_per_px=0.1)
    with Image.open(folder / PICTURE_NAME) as picture:
        light = srgb_to_linear(np.asarray(picture.convert("RGB")) / 255) @ WEIGHTS
    rows, columns = tile.shape
    promised = light.reshape(rows, light.shape[0] // rows, columns, -1).mean(axis=(1, 3))
    white, black = SURFACE.tile_reflectance, SURFACE.fired_reflectance
    held = black + luminance_per_dot(photo, frame_of(photo, order)) * (white - black)
    return {"promise": looks(promised), "tile": looks(tile), "photo": looks(held)}


def test_the_promise_has_the_practice_tiles_white():
    white = srgb_to_linear(np.array(TILE_WHITE) / 255) @ WEIGHTS

    assert white == pytest.approx(SURFACE.tile_reflectance, abs=0.003)


def test_the_tile_is_as_promised(etch):
    assert rms(etch["promise"] - etch["tile"]) < 2.0


def test_the_tile_holds_the_photo_as_well_as_white_and_black_let_it(etch):
    assert rms(etch["tile"] - etch["photo"]) < 2.5
