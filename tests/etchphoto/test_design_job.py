"""A design becomes a job as a photo does, and the etched tile shows what was designed."""

import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from darkroom.practice import burnt_by_practice
from etchphoto.decoder.loading import load_photo
from etchphoto.errors import JobNotWritable, NeedsAcknowledgement, UnfitDesign
from etchphoto.job.order import DEFAULT_HALFTONE, PhotoOrder
from etchphoto.job.prepare import prepare_job
from etchphoto.layout.design_job import design_job, prepare_design
from etchphoto.layout.tile_picture import draw_tile
from etchphoto.measured_tone import MeasuredTone
from etchphoto.tone import BURNT_AS_WANTED
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, read_sheet
from support.samples.designs import PORTRAIT, SIGN, design_of_toml, span_mm
from support.samples.photo_files import encoded, scene
from support.samples.strokes import strokes

HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
PHOTO_ALONE = PORTRAIT.partition('[[layer]]\nkind = "mask"')[0]


def order(**changes):
    wish = {"head": HEAD, "recipe": RECIPE, "width_mm": 1.0, "halftone": DEFAULT_HALFTONE}
    return PhotoOrder(**wish | changes)


@pytest.fixture
def photo(tmp_path):
    (tmp_path / "ida.png").write_bytes(encoded(scene(400, 400), "PNG"))
    return load_photo(tmp_path / "ida.png")


def test_a_sign_is_a_job_without_a_photo_at_the_recipes_power_and_speed(tmp_path):
    seen = []
    job = design_job(design_of_toml(SIGN), order(at_x_mm=30.0, at_y_mm=20.0))

    sheet = prepare_design(job, folder=tmp_path / "job", on_dots=seen.append)

    assert read_sheet(tmp_path / "job") == sheet
    assert (sheet.photo, sheet.halftone, sheet.title) == (None, "threshold", "House number")
    assert (sheet.recipe, sheet.rows, sheet.columns) == (RECIPE, 400, 600)
    assert (sheet.picture.left_mm, sheet.picture.bottom_mm) == (30, 20)
    assert sheet.coverage == pytest.approx(seen[0].mean())
    assert (tmp_path / "job" / "expected.png").exists()


@pytest.mark.slow
def test_a_photo_alone_on_a_tile_has_the_dots_that_it_has_without_a_design(tmp_path, photo):
    dots = {}
    job = design_job(design_of_toml(PHOTO_ALONE), order(), photo)
    prepare_design(job, folder=tmp_path / "a", on_dots=lambda bits: dots.update(a=bits))
    prepare_job(
        photo, order(width_mm=20.0), folder=tmp_path / "b",
        on_dots=lambda _, bits: dots.update(b=bits),
    )  # fmt: skip

    assert (dots["a"] == dots["b"]).all()
    assert read_sheet(tmp_path / "a").photo == read_sheet(tmp_path / "b").photo


def test_a_portrait_fades_to_white_and_bears_its_name(photo):
    job = design_job(design_of_toml(PORTRAIT), order(), photo)
    bits = job.bits()

    assert not bits[:28, :28].any()  # outside the circle
    assert bits[95:105, 95:105].any()
    bare = design_job(design_of_toml(PORTRAIT).with_text("who", "I"), order(), photo).bits()
    assert (bits[170:] != bare[170:]).any()
    assert (bits[:170] == bare[:170]).all()


@pytest.mark.slow
def test_a_portrait_of_searched_dots_has_its_shape_and_its_name_and_no_run_below_a_dot(
    photo, tmp_path
):
    """The controller's moves are followed by `support.samples.strokes`, not by the writer."""
    dot = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06)  # invented
    tone = MeasuredTone(curve=BURNT_AS_WANTED, recipe=RECIPE, halftone="jarvis", dot=dot)
    design = design_of_toml(PORTRAIT.replace("mm = 20", "mm = 6").replace("soft_mm = 4", ""))
    job = design_job(design, order(halftone="test-card", tone=tone), photo)

    sheet = prepare_design(job, folder=tmp_path / "job")

    assert (sheet.rows, sheet.columns, sheet.width_mm) == (60, 60, pytest.approx(6))
    with Image.open(tmp_path / "job" / PICTURE_NAME) as picture:
        assert picture.size == (240, 240)
        is_white = np.asarray(picture.convert("L")) > 220
    outside = np.hypot(*(np.indices((240, 240)) - 119.5)) > 128
    assert is_white[:120][outside[:120]].all()
    burnt_mm = [abs(end - start) for _, start, end, _ in strokes(gcode_of(tmp_path / "job"))]
    assert min(burnt_mm) > RECIPE.line_spacing_mm - 0.0011
    assert sum(burnt_mm) / 0.1 == pytest.approx(sheet.coverage * 60 * 60, abs=0.05)


def gcode_of(job):
    return (job / GCODE_NAME).read_bytes()


def test_a_design_takes_a_photo_if_and_only_if_it_has_room_for_one(photo):
    with pytest.raises(UnfitDesign, match="say which"):
        design_job(design_of_toml(PORTRAIT), order())
    with pytest.raises(UnfitDesign, match="no photo in it"):
        design_job(design_of_toml(SIGN), order(), photo)


def test_what_must_be_acknowledged_of_a_photo_must_be_of_a_sign(tmp_path):
    head = replace(HEAD, spot_x_mm=0.15, spot_y_mm=0.15, is_spot_measured=False)
    job = design_job(design_of_toml(SIGN), order(head=head))

    with pytest.raises(NeedsAcknowledgement, match="narrower than the spot"):
        prepare_design(job, folder=tmp_path / "job")
    assert not (tmp_path / "job").exists()
    job = design_job(
        design_of_toml(SIGN), order(head=head, acknowledged=frozenset({"spacing-below-spot"}))
    )
    prepare_design(job, folder=tmp_path / "job")
    with pytest.raises(JobNotWritable, match="already a job"):
        prepare_design(job, folder=tmp_path / "job")


def test_the_picture_of_a_tile_is_to_scale():
    job = design_job(design_of_toml(SIGN), order())

    picture, px_per_mm = draw_tile(job.bits(), job.design.tile)

    codes = np.asarray(picture.convert("L")).astype(int)
    row = codes[codes.shape[0] // 2]
    white = np.flatnonzero(row > 200)
    assert px_per_mm == 10
    assert (white[-1] - white[0] + 1) / px_per_mm == pytest.approx(60, abs=0.2)


@pytest.mark.slow
def test_edges_on_the_etched_tile_lie_within_one_dot_of_the_design(tmp_path):
    """The practice machine etches the sign; a place is dark where it reflects below the middle.

    The frame's line is 1 mm wide and begins 2 mm from the tile's edge; the field reaches 1 mm
    beyond the letters on every side: as the design says, not as our dots do.
    """
    job = design_job(design_of_toml(SIGN), order(at_x_mm=30.0, at_y_mm=20.0))
    sheet = prepare_design(job, folder=tmp_path / "job")
    gcode = gcode_of(tmp_path / "job")

    tile = burnt_by_practice(gcode, HEAD, "white-tile").tile
    seen = tile.reflectance(mm_per_px=0.025, rectangle=(30.0, 20.0, 90.0, 60.0))

    assert re.search(rb"S\d+", gcode)
    dark = seen < (seen.max() + seen.min()) / 2
    dot = sheet.recipe.line_spacing_mm
    frame_row = dark[round(20 / 0.025), : round(5 / 0.025)]
    assert span_mm(frame_row, 0.025) == pytest.approx((2, 3), abs=dot)
    frame_column = dark[: round(4.5 / 0.025), round(30 / 0.025)]
    assert span_mm(frame_column, 0.025) == pytest.approx((2, 3), abs=dot)
    ink = job.letterings[2].ink
    field = dark[round(27 / 0.025) : round(36.5 / 0.025), round(5 / 0.025) : round(55 / 0.025)]
    assert span_mm(field.any(axis=0), 0.025) == pytest.approx(
        (ink.left_mm - 1 - 5, ink.right_mm + 1 - 5), abs=dot
    )
    number = job.letterings[1].ink
    letters = dark[round(4 / 0.025) : round(26 / 0.025), round(8 / 0.025) : round(52 / 0.025)]
    assert span_mm(letters.any(axis=1), 0.025) == pytest.approx(
        (number.top_mm - 4, number.bottom_mm - 4), abs=dot
    )
    assert span_mm(letters.any(axis=0), 0.025) == pytest.approx(
        (number.left_mm - 8, number.right_mm - 8), abs=dot
    )
    expected = job.bits().repeat(4, axis=0).repeat(4, axis=1)
    assert (dark != expected).mean() < 0.02
