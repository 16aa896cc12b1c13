"""Which part of the photo lies on the tile, and in how many dots."""

import math

import pytest

from etchphoto.errors import UnfitOrder
from etchphoto.framing import MAX_DOTS, Crop, frame_photo, line_spacing_mm


def framed(width_px=3000, height_px=2000, **changes):
    wishes = {"width_mm": 100.0, "height_mm": None, "line_spacing_mm": 0.1} | changes
    return frame_photo(width_px, height_px, **wishes)


def test_without_a_height_the_photo_decides_it():
    frame = framed()

    assert (frame.columns, frame.rows) == (1000, 667)
    assert frame.crop.right - frame.crop.left > 0.999


def test_a_size_becomes_a_whole_number_of_line_spacings():
    frame = framed(width_mm=100.0, height_mm=50.0, line_spacing_mm=0.09)

    assert (frame.columns, frame.rows) == (1111, 556)
    assert frame.width_mm == pytest.approx(99.99)
    assert frame.height_mm == pytest.approx(50.04)


def test_a_square_tile_takes_the_middle_of_a_wide_photo():
    crop = framed(height_mm=100.0).crop

    assert (crop.left, crop.right) == pytest.approx((1 / 6, 5 / 6))
    assert (crop.top, crop.bottom) == (0, 1)


def test_a_wide_tile_takes_the_middle_of_a_square_photo():
    crop = framed(1000, 1000, height_mm=25.0).crop

    assert (crop.left, crop.right) == (0, 1)
    assert (crop.top, crop.bottom) == pytest.approx((0.375, 0.625))


def test_a_given_crop_is_used_as_it_is_when_it_has_the_tiles_shape():
    box = Crop(0.1, 0.2, 0.5, 0.8)

    frame = framed(1000, 1000, height_mm=150.0, crop=box)

    assert (frame.crop.left, frame.crop.top) == pytest.approx((0.1, 0.2))
    assert (frame.crop.right, frame.crop.bottom) == pytest.approx((0.5, 0.8))


def test_a_given_crop_of_another_shape_keeps_its_middle():
    crop = framed(1000, 1000, height_mm=100.0, crop=Crop(0.1, 0.2, 0.5, 0.8)).crop

    assert (crop.left, crop.right) == pytest.approx((0.1, 0.5))
    assert (crop.top, crop.bottom) == pytest.approx((0.3, 0.7))


def test_a_given_crop_decides_the_height_that_was_left_out():
    assert framed(1000, 1000, crop=Crop(0.0, 0.0, 0.5, 1.0)).rows == 2000


@pytest.mark.parametrize("pixels", [499, 100, 10])
def test_a_photo_far_too_small_for_the_tile_says_how_many_pixels_a_dot_gets(pixels):
    (finding,) = framed(pixels, pixels).findings

    assert finding.name == "coarse-photo"
    assert f"{pixels / 1000:.2g} pixels for each dot" in finding.sentence
    assert not finding.needs_acknowledgement


def test_a_photo_of_half_a_pixel_for_each_dot_is_not_remarked_on():
    assert framed(500, 500).findings == ()


@pytest.mark.parametrize("name", ["width_mm", "height_mm", "line_spacing_mm"])
@pytest.mark.parametrize("value", [0, -1.0, math.nan, math.inf, -math.inf, "100", True])
def test_a_size_that_no_tile_has_is_refused(name, value):
    with pytest.raises(UnfitOrder, match="above zero"):
        framed(**{name: value})


def test_an_absent_width_is_refused():
    with pytest.raises(UnfitOrder, match="width must be a number"):
        framed(width_mm=None)


def test_a_picture_narrower_than_a_line_is_refused():
    with pytest.raises(UnfitOrder, match="less than one line spacing"):
        framed(width_mm=0.04)


@pytest.mark.parametrize("width_mm", [1e4, 1e300])
def test_more_dots_than_memory_are_refused(width_mm):
    with pytest.raises(UnfitOrder, match="dots"):
        framed(width_mm=width_mm)


def test_the_largest_job_is_allowed():
    side_mm = math.isqrt(MAX_DOTS) * 0.1

    assert framed(1000, 1000, width_mm=side_mm, height_mm=side_mm).rows == math.isqrt(MAX_DOTS)


@pytest.mark.parametrize(
    "box",
    [
        (0, 0, 0, 1),
        (0.5, 0, 0.4, 1),
        (0, 0.5, 1, 0.5),
        (-0.1, 0, 1, 1),
        (0, 0, 1.1, 1),
        (math.nan, 0, 1, 1),
    ],
)
def test_a_crop_that_holds_no_part_of_the_photo_is_refused(box):
    with pytest.raises(UnfitOrder, match="no part of the photo"):
        Crop(*box)


@pytest.mark.parametrize("box", [(0, 0, 1e-308, 1e-308), (0, 0.5, 1, 0.5009)])
def test_a_crop_of_less_than_a_pixel_is_refused(box):
    with pytest.raises(UnfitOrder, match="less than one pixel"):
        framed(1000, 1000, crop=Crop(*box))


def test_lines_per_inch_and_spacing_are_one_number():
    # 1 inch = 25.4 mm exactly. For 0.09 mm one often hears 272 (common practice, no source);
    # it is 282.2, and 272 would be 0.0934 mm.
    assert line_spacing_mm(254) == pytest.approx(0.1)
    assert line_spacing_mm(282.2) == pytest.approx(0.09, abs=1e-5)
    assert line_spacing_mm(272) == pytest.approx(0.0934, abs=5e-5)


@pytest.mark.parametrize("lines", [0, -254, math.nan, math.inf])
def test_lines_per_inch_that_make_no_spacing_are_refused(lines):
    with pytest.raises(UnfitOrder, match="lines per inch"):
        line_spacing_mm(lines)
