"""A proof to send: true to size, with a scale and what was agreed."""

import numpy as np
import pytest
from PIL import Image

from etchphoto import proof_sheet
from etchphoto.framing import MM_PER_INCH
from etchphoto.proof_sheet import SCALES_MM, SHEET_PX, draw_proof

BLACK = Image.new("RGB", (400, 300), (0, 0, 0))


def printed_mm(sheet, pixels):
    return pixels / sheet.dots_per_inch * MM_PER_INCH


def black_run(row):
    """Return how many pixels from the first to the last dark one."""
    dark = np.flatnonzero(row < 60)
    return dark[-1] - dark[0] + 1


def test_the_picture_on_the_sheet_is_as_wide_as_on_the_tile_when_it_is_printed():
    sheet = draw_proof(BLACK, 80.0, [])

    grey = np.asarray(sheet.picture.convert("L"))

    assert printed_mm(sheet, black_run(grey[200])) == pytest.approx(80.0, abs=0.1)
    assert sheet.picture.width == SHEET_PX


@pytest.mark.slow
@pytest.mark.parametrize("width_mm", [1.5, 9.0, 80.0, 300.0])
def test_the_scale_below_it_is_as_long_as_it_says(width_mm):
    white = Image.new("RGB", (400, 300), (255, 255, 255))
    sheet = draw_proof(white, width_mm, [])

    grey = np.asarray(sheet.picture.convert("L"))
    runs = [
        len(run) for row in grey for run in np.where(row < 60, b"#", b".").tobytes().split(b".")
    ]

    lengths = [abs(printed_mm(sheet, max(runs)) - mm) / mm for mm in SCALES_MM]
    assert min(lengths) < 0.03


def test_every_line_stands_on_the_sheet_and_none_leaves_it():
    bare, told = draw_proof(BLACK, 80.0, []), draw_proof(BLACK, 80.0, ["Proof 4F2A", "long " * 60])

    assert told.picture.height > bare.picture.height
    ink = np.asarray(told.picture.convert("L"))[bare.picture.height - 60 :]
    assert (ink < 100).any()
    assert (ink[:, -40:] > 200).all()


@pytest.mark.parametrize("font", ["DejaVuSans.ttf", "no-such-font.ttf"])
def test_a_name_with_accents_is_written_whatever_fonts_the_board_has(monkeypatch, font):
    monkeypatch.setattr(proof_sheet, "_FULL_FONT", font)
    plain = np.asarray(draw_proof(BLACK, 80.0, ["Ida o"]).picture.convert("L"))

    accented = np.asarray(draw_proof(BLACK, 80.0, ["Ida ö"]).picture.convert("L"))

    ink, plain_ink = int((accented < 100).sum()), int((plain < 100).sum())
    assert 0 <= ink - plain_ink < 60  # two points more at most, and no empty box instead
