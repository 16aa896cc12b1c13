"""Another program's file: inches, arcs, comments, CRLF; the tile shows what was drawn."""

import json
from pathlib import Path

import numpy as np
import pytest

from etchpath.errors import UnfitFile
from etchpath.foreign_job import write_foreign_job
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.sheet import SHEET_NAME

HEAD = PRACTICE_HEADS["practice-20w"]
# Our own drawing: a square of 20 mm with a circle of 10 mm in it.
DRAWING = (
    b"\xef\xbb\xbf(a square; then a circle)\r\n"
    b"G20 G90 G94 G17\r\n"
    b"M4 S0 ; the beam follows the speed\r\n"
    b"g0 x0.19685 y0.19685\r\n"
    b"G1 X0.98425 S700 F60 (bottom)\r\n"
    b"Y0.98425\r\n"
    b"X0.19685\r\n"
    b"Y0.19685\r\n"
    b"G0 X0.7874 Y0.59055\r\n"
    b"G2 X0.7874 Y0.59055 I-0.19685 J0 F40\r\n"
    b"M5\r\n"
    b"G0 X0 Y0\r\n"
    b"M2"
)


def _job(rig, text=DRAWING) -> Path:
    source = rig.folder / "drawing.nc"
    source.write_bytes(text)
    folder = rig.folder / "foreign"
    folder.mkdir()
    write_foreign_job(source, folder, head=HEAD, surface="practice tile, white paint")
    return folder


def _light(rig, left, bottom, right, top):
    return float(rig.machine.tile.exposure_j_per_mm2((left, bottom, right, top)).max())


def test_a_drawing_in_inches_with_arcs_comments_and_crlf_is_etched_where_it_was_drawn(rig):
    sheet = rig.start(_job(rig))
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    for stroke in (
        (14, 4.5, 16, 5.5),
        (24.5, 14, 25.5, 16),
        (14, 24.5, 16, 25.5),
        (4.5, 14, 5.5, 16),
    ):
        assert _light(rig, *stroke) > 0
    for degrees in range(0, 360, 15):
        x, y = 15 + 5 * np.cos(np.radians(degrees)), 15 + 5 * np.sin(np.radians(degrees))
        assert _light(rig, x - 0.3, y - 0.3, x + 0.3, y + 0.3) > 0, degrees
    for empty in ((13, 13, 17, 17), (6, 6, 9, 9), (0, 0, 4, 4), (26, 26, 30, 30)):
        assert _light(rig, *empty) < 1e-6  # a beam's far flank
    assert rig.run.elapsed_s == pytest.approx(sheet.predicted_s, rel=0.05, abs=1.5)


def test_its_progress_is_told_by_time_and_never_goes_back(rig):
    rig.start(_job(rig))
    shares = []
    while rig.state != "ended":
        rig.step(25)
        shares.append(rig.run.share)

    assert shares == sorted(shares)
    assert any(0.3 < share < 0.9 for share in shares)


@pytest.mark.slow
def test_a_hold_rests_where_the_head_sets_out_in_the_dark_and_goes_on(rig):
    strokes = "".join(f"G0X2Y{y}\nG1X30Y{y}S500F1500\nS0\n" for y in range(2, 32))
    rig.start(_job(rig, f"G21G90G94\nM4S0\n{strokes}M5\nG0X0Y0\nM2\n".encode()))
    rig.wait_until(lambda: rig.run.share > 0.2)
    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")
    x, y = rig.shown_position()
    rig.ask("resume")
    rig.wait_for_the_end(within_s=120)

    assert x == pytest.approx(30, abs=0.02)
    assert y == pytest.approx(round(y), abs=0.02)
    assert rig.run.ended == "complete"
    assert all(_light(rig, 15, row - 0.1, 17, row + 0.1) > 0 for row in range(2, 32))


def test_in_constant_power_a_hold_ends_the_run_and_cuts_first(rig):
    rig.preflight.find("constant power", "acknowledge")
    rig.set_origin()
    rig.load(_job(rig))
    rig.ask("start", acknowledge=["constant power"])
    rig.wait_until(lambda: rig.run.share > 0.2)
    rig.ask("hold_now")

    assert not rig.contact.is_closed
    rig.wait_for_the_end()
    assert rig.run.ended == "stopped"
    assert "constant power" in rig.run.because


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"G21G90\nM3S500\nG1X5F600\nM5\nM2\n", "M4"),
        (b"", "nothing in the file"),
        (b"G21G90\nG0X5\nM2\n", "never comes on"),
        (b"G21G90\nM4S0\nG0X5\nG92X0Y0\nG1X5S500F600\nM5\nM2\n", "origin"),
    ],
    ids=["constant power", "empty", "nothing etched", "own origin"],
)
def test_a_file_that_cannot_be_run_says_why(rig, text, says):
    with pytest.raises(UnfitFile, match=says):
        _job(rig, text)


def test_its_sheet_says_what_it_is(rig):
    sheet = json.loads((_job(rig) / SHEET_NAME).read_text())

    assert sheet["halftone"] == "another program's file"
    assert sheet["recipe"]["power_ratio"] == pytest.approx(0.7)
    assert sheet["picture"]["right_mm"] == pytest.approx(25.0, abs=0.01)
    assert [row[1] for row in sheet["index"]] == [4, 9, 12]
