"""Several tiles in one job: each is etched at its place, dot for dot as it would be alone."""

import io
from dataclasses import replace

import numpy as np
import pytest

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.machine import Machine
from etchpath.motion.line_times import LineTimes
from etchpath.preflight import inspect
from etchpath.reentry.remainder import Cut, write_rest
from etchpath.writer.dots import Order, write_job
from etchpath.writer.tiles import tiles_of, write_tiles
from etchwire.sheet import CardSettings, Sheet
from support.samples.sheets import HEAD, RECIPE
from support.samples.strokes import strokes

CORNERS_MM = {4: (60.25, 40.1), 3: (10.0, 40.1), 1: (10.005, 5.0)}  # by pocket, as etched


@pytest.fixture
def pictures():
    random = np.random.default_rng(20261128)
    made = {pocket: random.random((12, 30)) < 0.5 for pocket in CORNERS_MM}
    made[3][0] = made[3][-1] = False  # rows without a dot at both ends
    return made


@pytest.fixture
def jobs(pictures, tmp_path):
    """Each picture as a job of its own: by pocket, its file and its sheet."""
    return {pocket: alone(bits, tmp_path / f"{pocket}.gcode") for pocket, bits in pictures.items()}


def alone(bits, path, **changes):
    order = Order(title=path.stem, head=HEAD, recipe=RECIPE, halftone="stucki", **changes)
    with path.open("wb") as file:
        sheet = write_job(bits, file, order)
    return path, sheet


def laid(jobs, corners=CORNERS_MM):
    """Return the tiles of these jobs, each in its pocket."""
    found = []
    for pocket, corner_mm in corners.items():
        (tile,) = tiles_of(*jobs[pocket])
        part = replace(tile.part, pocket=pocket)
        found.append(replace(tile, part=part, corner_mm=corner_mm))
    return found


def written(tiles, title="a bench"):
    file = io.BytesIO()
    sheet = write_tiles(tiles, file, title=title)
    return file.getvalue(), sheet


def inside(found, bounds, reach_mm=0.1):
    """Return the strokes within a rectangle, from its corner; the register may lead a little out.

    Places come in whole micrometres.
    """
    kept = [
        (y, start, end, s)
        for y, start, end, s in found
        if bounds.bottom_mm <= y <= bounds.top_mm
        and bounds.left_mm - reach_mm <= min(start, end)
        and max(start, end) <= bounds.right_mm + reach_mm
    ]
    left, bottom = bounds.left_mm, bounds.bottom_mm
    return [
        (*(round((mm - low) * 1000) for mm, low in ((y, bottom), (a, left), (b, left))), s)
        for y, a, b, s in kept
    ]


def test_every_tile_is_etched_at_its_place_with_the_strokes_that_it_has_alone(jobs):
    gcode, sheet = written(laid(jobs))

    found = strokes(gcode)
    assert [part.pocket for part in sheet.parts] == [4, 3, 1]
    for part in sheet.parts:
        path, its_own = jobs[part.pocket]
        place = part.picture
        assert (place.left_mm, place.bottom_mm) == pytest.approx(CORNERS_MM[part.pocket])
        expected = inside(strokes(path.read_bytes()), its_own.picture)
        assert inside(found, place) == expected
        assert expected
    assert len(found) == sum(len(strokes(path.read_bytes())) for path, _ in jobs.values())


def test_between_tiles_the_head_goes_with_the_beam_off_and_the_file_passes_the_preflight(jobs):
    gcode, sheet = written(laid(jobs))

    report = inspect(io.BytesIO(gcode), Machine.of_head(sheet.head))

    assert report.verdict == "ready", report.findings
    assert report.gcode_sha256 == sheet.gcode_sha256
    for name, mm in report.bounds_mm.items():  # in whole steps of the machine, 0.0125 mm
        assert mm == pytest.approx(getattr(sheet.motion, name), abs=0.0125)
    lines = gcode.decode().splitlines()
    rapids = [number for number, line in enumerate(lines) if "G0X" in line]
    assert all(lines[number - 1].endswith("S0") for number in rapids[1:-1])


def test_the_sheet_says_where_each_row_begins_and_when_as_the_preflight_has_it(jobs):
    """The preflight times the finished file by itself.

    The head is taken to rest before the rapid to a tile, which costs 0.03 s at each.
    """
    gcode, sheet = written(laid(jobs))

    times = LineTimes([entry.line for entry in sheet.index])
    report = inspect(io.BytesIO(gcode), Machine.of_head(sheet.head), on_times=[times.see_times])

    assert [entry.at_s for entry in sheet.index] == pytest.approx(times.at_s(), abs=0.1)
    assert sheet.predicted_s == pytest.approx(report.duration_s, abs=0.1)
    for entry in sheet.index:
        line = gcode.splitlines()[entry.line - 1]
        assert gcode[entry.byte :].startswith(line)
        assert line.startswith(b"G90G0X")
    assert Sheet.from_json(sheet.to_json()) == sheet


def test_rows_are_numbered_through_and_every_row_belongs_to_one_tile(jobs):
    _, sheet = written(laid(jobs))

    assert (sheet.rows, sheet.columns) == (36, 30)
    assert [(part.first_row, part.rows) for part in sheet.parts] == [(0, 12), (12, 12), (24, 12)]
    for entry in sheet.index:
        part = sheet.part_of_row(entry.row)
        assert part.picture.bottom_mm < entry.y_mm < part.picture.top_mm
    assert sheet.part_of_row(12).pocket == 3


def test_what_is_said_of_the_whole_is_the_sum_of_its_tiles(jobs, pictures):
    _, sheet = written(laid(jobs))

    assert sheet.coverage == pytest.approx(np.mean(list(pictures.values())))
    assert (sheet.picture.left_mm, sheet.picture.bottom_mm) == pytest.approx((10.0, 5.0))
    assert (sheet.picture.right_mm, sheet.picture.top_mm) == pytest.approx((63.25, 41.3))


@pytest.mark.slow
def test_a_tile_left_out_and_one_done_again_keep_their_places(jobs, tmp_path):
    gcode, sheet = written(laid(jobs))
    whole = tmp_path / "whole.gcode"
    whole.write_bytes(gcode)
    four, three, one = tiles_of(whole, sheet)

    without, left = written([four, one])
    again, single = written([three], "again")

    assert [part.pocket for part in left.parts] == [4, 1]
    both = [found for found in strokes(gcode) if found not in strokes(again)]
    assert strokes(without) == both
    assert inside(strokes(again), single.parts[0].picture) == inside(
        strokes(gcode), sheet.parts[1].picture
    )
    assert inspect(io.BytesIO(again), Machine.of_head(HEAD)).verdict == "ready"
    assert single.predicted_s == pytest.approx(
        inspect(io.BytesIO(again), Machine.of_head(HEAD)).duration_s, abs=0.02
    )


@pytest.mark.slow
def test_a_run_cut_in_its_second_tile_goes_on_there(jobs, tmp_path):
    gcode, sheet = written(laid(jobs))
    entry = next(one for one in sheet.index if one.row == 17)
    rest = io.BytesIO()

    left = write_rest(io.BytesIO(gcode), sheet, Cut(row=17, x_mm=entry.from_mm), rest)

    assert left.parts == sheet.parts
    assert left.index[0].row == 17
    assert strokes(rest.getvalue()) == [
        found for found in strokes(gcode) if found in strokes(rest.getvalue())
    ]
    # And from the rest a tile can be left out: no row needs a speed that stands elsewhere.
    path = tmp_path / "rest.gcode"
    path.write_bytes(rest.getvalue())
    _, three, one = tiles_of(path, left)
    alone, _ = written([one])
    assert strokes(alone) == [found for found in strokes(gcode) if found[0] < 10]
    assert inspect(io.BytesIO(alone), Machine.of_head(HEAD)).verdict == "ready"
    with pytest.raises(NothingToEtch, match="pocket 4 has no dot left"):
        written([tiles_of(path, left)[0], three])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"recipe": replace(RECIPE, power_ratio=0.5)}, "another recipe than pocket 4"),
        ({"head": replace(HEAD, max_s=255.0)}, "another laser"),
        ({"card": CardSettings(
            low_feed_mm_per_min=1.0, high_feed_mm_per_min=2.0,
            low_power_ratio=0.1, high_power_ratio=0.2,
        )}, "pocket 1 holds a test card"),
        ({"halftone": "another program's file"}, "pocket 1 holds another program's file"),
    ],
)  # fmt: skip
def test_what_one_run_cannot_hold_is_refused(jobs, change, said):
    tiles = laid(jobs)
    tiles[-1] = replace(tiles[-1], sheet=replace(tiles[-1].sheet, **change))

    with pytest.raises(JobDoesNotFit, match=said):
        written(tiles)


def test_tiles_beyond_the_travel_nothing_at_all_and_a_changed_file_are_refused(jobs):
    with pytest.raises(JobDoesNotFit, match=r"mm wide .* moves only 400 mm: leave out"):
        written(laid(jobs, {4: (397.0, 5.0), 1: (5.0, 5.0)}))
    with pytest.raises(NothingToEtch, match="no pocket"):
        written([])
    path, _ = jobs[3]
    path.write_bytes(path.read_bytes().replace(b"S600", b"S900"))
    with pytest.raises(JobDoesNotFit, match="pocket 3 is not the one that its sheet describes"):
        written(laid(jobs))


@pytest.mark.parametrize("side", ["left_mm", "right_mm", "bottom_mm", "top_mm"])
def test_a_job_that_burns_beyond_its_picture_is_refused(jobs, side):
    """A sheet that says less than its file burns would have a neighbour's coat burnt."""
    (tile,) = tiles_of(*jobs[4])
    inwards = 1.0 if side in ("left_mm", "bottom_mm") else -1.0
    picture = replace(tile.part.picture, **{side: getattr(tile.part.picture, side) + inwards})

    with pytest.raises(JobDoesNotFit, match=r"row 1?[0-9] of the job of pocket 1 burns beyond its"):
        written([replace(tile, part=replace(tile.part, picture=picture))])
