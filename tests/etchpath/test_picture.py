import numpy as np
import pytest
from PIL import Image

from etchpath.preflight.picture import LONG_SIDE_PX, SCALES_MM, PathPicture
from support.harnesses.gcode_bench import inspected, machine


def drawn(text, of_machine=None):
    report = inspected(text, of_machine or machine())
    picture = PathPicture(report)
    inspected(text, of_machine or machine(), on_times=[picture.see_times])
    return picture


TWO_STROKES = "G21G90\nM4S900F1000\nG1X40\nG0X0Y20\nG1X40S300\nG0X0Y0\nM5\nM2\n"


def test_a_stroke_of_a_third_of_the_power_is_a_third_as_dark():
    shades = drawn(TWO_STROKES).shades()

    faint, dark = (255 - np.median(half[half < 255]) for half in np.array_split(shades, 2))
    assert faint / dark == pytest.approx(1 / 3, abs=0.02)


def test_a_short_stroke_is_as_dark_as_a_long_one():
    shades = drawn("G21G90\nM4S900F1000\nG1X80\nG0X0Y20\nG1X20\nG0X0Y0\nM5\nM2\n").shades()

    short, long = (np.median(half[half < 255]) for half in np.array_split(shades, 2))
    assert short == pytest.approx(long, abs=10)


def test_the_beam_off_leaves_paper():
    shades = drawn("G21G90\nM4S0F1000\nG1X40\nG0Y20\nG1X0\nM5\nM2\n").shades()

    assert (shades == 255).all()


@pytest.mark.slow
def test_it_is_saved_with_bounds_origin_and_travel(tmp_path):
    path = tmp_path / "path.png"

    drawn(TWO_STROKES).save(path)

    picture = np.array(Image.open(path))
    assert picture.shape[1] > LONG_SIDE_PX
    for colour in ((200, 30, 30), (220, 130, 50), (120, 140, 180)):
        assert (picture == colour).all(axis=2).any()


def test_a_job_of_nothing_has_a_picture_too(tmp_path):
    drawn("\n").save(tmp_path / "empty.png")

    assert (tmp_path / "empty.png").stat().st_size > 0


@pytest.mark.slow
@pytest.mark.parametrize("width_mm", [8, 40, 90])
def test_the_scale_below_it_is_as_long_as_it_says(tmp_path, width_mm):
    picture = drawn(f"G21G90\nM4S900F1000\nG1X{width_mm}\nG1Y5\nM5\nM2\n")
    picture.save(tmp_path / "path.png")

    strip = np.array(Image.open(tmp_path / "path.png"))[picture.view.height_px :]
    rows = ["".join(".#"[int(dot < 60)] for dot in row) for row in strip.max(axis=2)]
    scale_px = max(len(run) for row in rows for run in row.split("."))

    scale_mm = scale_px / picture.view.px_per_mm
    assert min(abs(scale_mm - mm) / mm for mm in SCALES_MM) < 0.02
    assert width_mm / 12 < scale_mm < width_mm / 2
