"""Pictures on the practice tile beside their promise and what the tile can hold of the photo.

The first picture anybody sees, and a small one with shadows opened, by halftones of every kind.
Greys are compared as an eye sees them from 350 mm, by the luminance channel of S-CIELAB
(`etchphoto.dots.eye`), as L* (CIE 1976, ISO 11664-4:2008). The limits are our choice.
"""

import numpy as np
import pytest
from PIL import Image

from darkroom.practice import burnt_by_practice
from etchphoto.decoder.loading import load_photo
from etchphoto.demo import LIGHTHOUSE
from etchphoto.dots.eye import seen
from etchphoto.expected import TILE_WHITE
from etchphoto.job.order import FROM_TEST_CARD, PhotoOrder, frame_of
from etchphoto.job.prepare import prepare_job
from etchphoto.light import lightness, srgb_to_linear
from etchphoto.measured_tone import MeasuredTone
from etchphoto.resampling import luminance_per_dot
from etchphoto.tone import Adjustments
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


def etched(folder, **wishes):
    """Return how promise, tile and what the tile can hold look, as L*, a value for each dot."""
    order = PhotoOrder(
        head=HEAD, recipe=RECORD.settings(), tone=MeasuredTone.from_record(RECORD.to_table()),
        **wishes,
    )  # fmt: skip
    photo = load_photo(LIGHTHOUSE)
    frame = prepare_job(photo, order, folder=folder).picture
    machine = burnt_by_practice((folder / GCODE_NAME).read_bytes(), HEAD, "white-tile")
    shown = (frame.left_mm, frame.bottom_mm, frame.right_mm, frame.top_mm)
    tile = machine.tile.reflectance(rectangle=shown, mm_per_px=0.1)
    with Image.open(folder / PICTURE_NAME) as picture:
        light = srgb_to_linear(np.asarray(picture.convert("RGB")) / 255) @ WEIGHTS
    rows, columns = tile.shape
    promised = light.reshape(rows, light.shape[0] // rows, columns, -1).mean(axis=(1, 3))
    luminance = luminance_per_dot(photo, frame_of(photo, order))
    held = SURFACE.tile_reflectance * held_light(luminance, order.adjustments.open_shadows)
    return {"promise": looks(promised), "tile": looks(tile), "held": looks(held)}


def held_light(luminance, open_shadows):
    """Return the tile's light beside its white: in proportion, or half-way to equal steps of L*.

    The lightness of CIE 1976 is written out here, so that the product's opening is not its own
    judge; black is the practice surface's, and not the card's.
    """
    black = SURFACE.fired_reflectance / SURFACE.tile_reflectance
    linear = cie_lightness(black + luminance * (1 - black))
    darkest = cie_lightness(np.array(black))
    equal = darkest + cie_lightness(luminance) * (1 - darkest / 100)
    return cie_luminance(linear + open_shadows / 100 * 0.5 * (equal - linear))


def cie_lightness(luminance):
    # ISO 11664-4: 116 f(Y) - 16, f the cube root above (6/29)³ and a straight line below
    straight = (29 / 6) ** 2 / 3 * luminance + 4 / 29
    return 116 * np.where(luminance > (6 / 29) ** 3, np.cbrt(luminance), straight) - 16


def cie_luminance(lightness_l):
    root = (lightness_l + 16) / 116
    return np.where(root > 6 / 29, root**3, 3 * (6 / 29) ** 2 * (root - 4 / 29))


@pytest.fixture(scope="module")
def etch(tmp_path_factory):
    """Etch the first picture anybody sees."""
    folder = tmp_path_factory.mktemp("promise") / "job"
    return etched(folder, halftone=PICTURE_HALFTONE, width_mm=25.0)


def test_the_promise_has_the_practice_tiles_white():
    white = srgb_to_linear(np.array(TILE_WHITE) / 255) @ WEIGHTS

    assert white == pytest.approx(SURFACE.tile_reflectance, abs=0.003)


def test_the_tile_is_as_promised(etch):
    assert rms(etch["promise"] - etch["tile"]) < 2.0


def test_the_tile_holds_the_photo_as_well_as_white_and_black_let_it(etch):
    assert rms(etch["tile"] - etch["held"]) < 2.5


@pytest.mark.parametrize("open_shadows", [0.0, 50.0, 100.0])
@pytest.mark.parametrize("halftone", [FROM_TEST_CARD, "floyd-steinberg"])
def test_the_tile_is_as_promised_however_far_its_shadows_are_opened(
    halftone, open_shadows, tmp_path
):
    """The card was etched with another halftone than either: both come from the dot it showed."""
    assert halftone != RECORD.halftone

    etch = etched(
        tmp_path / "job", halftone=halftone, width_mm=12.0,
        adjustments=Adjustments(open_shadows=open_shadows),
    )  # fmt: skip

    assert rms(etch["promise"] - etch["tile"]) < 2.0
    if halftone == FROM_TEST_CARD:  # a kernel cannot hold it where detail slows the head down
        assert rms(etch["tile"] - etch["held"]) < 2.5
