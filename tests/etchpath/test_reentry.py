import io
import itertools
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etchpath.errors import NoReentry
from etchpath.reentry.foreign import write_rest_of_file
from etchpath.reentry.remainder import Cut, write_rest
from etchwire.catalogue.heads import Register
from etchwire.sheet import Sheet
from support.harnesses.gcode_bench import HEAD, MACHINE, RECIPE, PracticeRun, inspected, job_of

RNG = np.random.default_rng(11)
DOTS = RNG.random((9, 40)) < 0.5
DOTS[4] = False


class Strokes:
    """Watches a file go by and keeps what it burns."""

    def __init__(self):
        self.found = []

    def see_times(self, timed):
        c = timed.toolpath
        for x, y, dx, dy, s in zip(c.x_mm, c.y_mm, c.dx_mm, c.dy_mm, c.beam_s, strict=True):
            if s:
                self.found.append((round(y, 4), round(x - dx, 4), round(x, 4), float(s), dy))


def strokes(gcode):
    watcher = Strokes()
    report = inspected(gcode, on_times=[watcher.see_times])
    assert report.verdict != "refused"
    return watcher.found


def rest_of(gcode, sheet, row, x_mm):
    rest = io.BytesIO()
    rest_sheet = write_rest(io.BytesIO(gcode), sheet, Cut(row=row, x_mm=x_mm), rest)
    return rest.getvalue(), rest_sheet


def cells_of(found):
    """Return every stretch of 0.0125 mm (a motor step) that is burnt, with its power."""
    cells = set()
    for y, start, end, s, _ in found:
        low, high = sorted((round(start * 80), round(end * 80)))
        cells |= {(y, cell, s) for cell in range(low, high)}
    return cells


@lru_cache
def whole_job(*, both, is_lagging):
    """Return the G-code, the sheet and the cells of the picture that is cut."""
    register = Register(beam_lag_s=0.0005, slack_mm=0.04) if is_lagging else Register()
    gcode, sheet = job_of(DOTS, head=replace(HEAD, register=register), is_both_directions=both)
    return gcode, sheet, cells_of(strokes(gcode))


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(st.integers(0, 8), st.floats(-1, 12), st.booleans(), st.booleans())
def test_what_was_burnt_and_what_is_left_make_the_whole_picture(row, x_mm, both, is_lagging):
    gcode, sheet, whole = whole_job(both=both, is_lagging=is_lagging)
    entry = next((entry for entry in sheet.index if entry.row == row), None)
    x_mm = round(x_mm * 80) / 80  # on a motor step

    try:
        rest, rest_sheet = rest_of(gcode, sheet, row, x_mm)
    except NoReentry:
        rest, rest_sheet = b"M5\nM2\n", None

    left = cells_of(strokes(rest))
    is_forward = entry is None or entry.to_mm > entry.from_mm

    def is_ahead(y, cell):
        if entry is not None and abs(y - entry.y_mm) <= 0.007:
            return cell + 1 > x_mm * 80 + 0.01 if is_forward else cell < x_mm * 80 - 0.01
        later = sheet.picture.bottom_mm + (sheet.rows - row - 0.5) * 0.1
        return y < later - 0.05

    assert left == {key for key in whole if is_ahead(key[0], key[1])}
    if rest_sheet is not None:
        assert Sheet.from_json(rest_sheet.to_json()) == rest_sheet


def test_the_row_of_the_cut_begins_at_its_own_run_up_in_the_dark():
    gcode, sheet = job_of(np.ones((3, 40)))

    rest, rest_sheet = rest_of(gcode, sheet, 1, 4.0)

    lines = rest.decode().splitlines()
    assert lines == [
        "G21G90G94",
        "G17",
        "M4S0",
        "F4000",
        "G90G0X9Y.15",
        "G91G1X-5S0F4000",
        "X-1.5S600",
        "X-2.5S0",
        "G90G0X0Y.05",
        "G91G1X2.5S0",
        "X4S600",
        "X2.5S0",
        "M5",
        "G90G0X0Y0",
        "M2",
    ]
    assert rest_sheet.gcode_bytes == len(rest)
    assert rest_sheet.end_line == 13
    for entry in rest_sheet.index:
        assert rest[: entry.byte].count(b"\n") == entry.line - 1
    assert inspected(rest).verdict == "ready"


def test_a_rest_can_be_cut_again():
    gcode, sheet = job_of(DOTS)

    once, once_sheet = rest_of(gcode, sheet, 3, 3.0)
    twice, twice_sheet = rest_of(once, once_sheet, 6, 2.0)

    direct, direct_sheet = rest_of(gcode, sheet, 6, 2.0)
    assert twice == direct
    assert twice_sheet == direct_sheet


def test_the_times_of_the_rest_rise_and_end_with_its_duration():
    gcode, sheet = job_of(DOTS)

    _, rest_sheet = rest_of(gcode, sheet, 3, 3.0)

    times = [entry.at_s for entry in rest_sheet.index] + [rest_sheet.predicted_s]
    assert all(one < two for one, two in itertools.pairwise(times))


@pytest.mark.parametrize(
    ("row", "x_mm", "word"),
    [(9, 0.0, "nothing is left"), (8, 99.0, "nothing is left"), (2, float("nan"), "not known")],
)
def test_where_there_is_no_rest_the_reason_is_said(row, x_mm, word):
    gcode, sheet = job_of([*DOTS[:8].tolist(), [True] * 40], is_both_directions=False)

    with pytest.raises(NoReentry, match=word):
        rest_of(gcode, sheet, row, x_mm)


def test_a_sheet_of_another_file_is_refused():
    gcode, sheet = job_of(DOTS)

    with pytest.raises(NoReentry, match="not the one"):
        rest_of(gcode + b"\n", sheet, 1, 1.0)


@pytest.mark.slow
def test_a_job_cut_on_the_practice_machine_is_finished_by_its_rest():
    gcode, sheet = job_of(np.ones((4, 60)), recipe=replace(RECIPE, line_spacing_mm=0.1))
    first_rows = gcode[: sheet.index[2].byte] + b"M5\nG90G0X0Y0\nM2\n"
    rest, _ = rest_of(gcode, sheet, 2, sheet.index[2].from_mm)
    window = (1.0, -1.0, 12.0, 2.0)

    run = PracticeRun(first_rows)
    PracticeRun(rest, run.machine)

    whole = PracticeRun(gcode).machine.tile.exposure_j_per_mm2(window)
    assert run.machine.tile.exposure_j_per_mm2(window) == pytest.approx(whole, abs=0.05)


VECTORS = (
    "G20 G91 (inches, relative)\r\nM4 S300 F60\r\nG0 X1 Y1\r\nG1 X1\r\nY1 S500\r\n"
    "G2 X.5 Y.5 I.5\r\nX.5 Y-.5 J-.5\r\nG90\r\nG1 X1 Y1 F90\r\nG0 X0 Y0\r\nM5\r\nM2\r\n"
)
MOVES = [3, 4, 5, 6, 7, 9, 10]


@pytest.mark.parametrize("line", MOVES)
def test_the_rest_of_another_file_burns_what_its_last_moves_would_have(line):
    rest = io.BytesIO()

    write_rest_of_file(io.BytesIO(VECTORS.encode()), line, rest, MACHINE)

    wanted = strokes_from(line)
    found = strokes(rest.getvalue())
    assert len(found) == len(wanted)
    for one, two in zip(found, wanted, strict=True):
        assert one == pytest.approx(two, abs=0.02)


def strokes_from(line):
    """Return what the moves from `line` on burn when the whole file is run."""
    kept = []

    class FromLine(Strokes):
        def see_times(self, timed):
            before = len(self.found)
            super().see_times(timed)
            lines = timed.toolpath.line[timed.toolpath.beam_s > 0]
            kept.extend(
                stroke
                for stroke, number in zip(self.found[before:], lines, strict=True)
                if number >= line
            )

    inspected(VECTORS, on_times=[FromLine().see_times])
    return kept


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        (VECTORS, 1, "no move"),
        (VECTORS, 99, "no line 99"),
        (VECTORS.replace("G0 X1 Y1", "G92 X0 Y0"), 5, "origin"),
        ("G1X1F9\nM2\nG1X2\n", 3, "ended"),
    ],
)
def test_where_another_file_cannot_be_taken_up_the_reason_is_said(text, line, word):
    with pytest.raises(NoReentry, match=word):
        write_rest_of_file(io.BytesIO(text.encode()), line, io.BytesIO(), MACHINE)
