"""Several tiles in one run: each at its place as if it were alone, and a cut in the second."""

import numpy as np
import pytest

from etchdaemon.errors import CommandRefused
from etchphoto.layout.bench import BenchPlan, Laid, prepare_bench, prepare_some
from etchphoto.layout.jig import Corners, Jig, Pockets
from etchpractice.machine import PracticeMachine
from etchpractice.tile.exposure import CELL_MM
from rig.bench import Rig
from rig.guarded import GuardedRig
from support.harnesses.calls import as_table
from support.harnesses.logbooks import LONG_S, Disk, logbook_on

pytestmark = pytest.mark.slow

NOT_MOVED = "tile and head have not moved"
JIG = Jig(
    name="Two coasters",
    pockets=Pockets(columns=2, rows=1, pitch_x_mm=14, pitch_y_mm=4, width_mm=13, height_mm=3),
    corners=Corners(lower_left_mm=(8.0, 2.0), upper_right_mm=(35.0, 5.0)),
)


def dots(seed):
    """Return rows with ends of their own, solid but for gaps: our own invention."""
    draw = np.random.default_rng(seed)
    bits = draw.random((8, 100)) < 0.9
    for row in bits:
        row[: draw.integers(20)] = False
    return bits


@pytest.fixture
def bench(tmp_path):
    """Two small pictures in a jig, as one job; with the two as jobs of their own."""
    (tmp_path / "made").mkdir()
    with Rig(tmp_path / "made") as writer:
        single = {pocket: writer.make_job(dots(pocket)) for pocket in (1, 2)}
    laid = tuple(Laid(pocket=pocket, job=job) for pocket, job in single.items())
    sheet = prepare_bench(BenchPlan(name="tonight", jig=JIG, laid=laid), folder=tmp_path / "bench")
    return tmp_path / "bench", sheet


def light_of(rig, picture):
    """Return what light fell on a picture, by its cells."""
    cells = [round(mm / CELL_MM) for mm in (picture.left_mm, picture.bottom_mm)]
    wide, high = (
        round(mm / CELL_MM)
        for mm in (picture.right_mm - picture.left_mm, picture.top_mm - picture.bottom_mm)
    )
    return np.array(rig.machine.tile.exposure.window(*cells, wide, high))


class BookedRig(GuardedRig):
    """The guarded box with a real logbook."""

    def make_records(self):
        return logbook_on(Disk(self.folder / "logbook.sqlite3"), confirm_timeout_s=LONG_S)

    def __enter__(self):
        self.records.start()
        self.records.introduce_practice()
        return self

    def __exit__(self, *_):
        super().__exit__()
        self.records.close()


@pytest.fixture
def booked(tmp_path):
    (tmp_path / "box").mkdir()
    with BookedRig(tmp_path / "box", PracticeMachine(firmware="32-bit")) as rig:
        yield rig


def etched(rig, folder):
    rig.start(folder)
    rig.wait_for_the_end()
    assert rig.run.ended == "complete", rig.run.because


def test_each_pocket_is_etched_as_the_same_picture_alone_and_says_which_tile_it_is(
    bench, tmp_path, rig_of
):
    folder, sheet = bench
    rig = rig_of(firmware="32-bit")
    rig.start(folder)
    rig.etch_until_row(3)
    first = rig.run.tile
    rig.etch_until_row(11)
    second, run = rig.run.tile, rig.run
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert (first.number, first.tiles, first.pocket, first.title) == (1, 2, 1, "patch")
    assert (second.number, second.pocket) == (2, 2)
    assert 0 < first.remaining_s < sheet.predicted_s / 2 + 1
    assert second.remaining_s == run.remaining_s  # the last tile ends with the run, but for parking
    assert rig.commands.snapshot().job.pockets == (1, 2)
    for part in sheet.parts:
        alone = tmp_path / f"alone-{part.pocket}"
        prepare_some(folder, [part.pocket], folder=alone)
        beside = tmp_path / f"beside-{part.pocket}"
        beside.mkdir()
        with Rig(beside, PracticeMachine(firmware="32-bit")) as other:
            etched(other, alone)
            seen, expected = light_of(rig, part.picture), light_of(other, part.picture)
        assert expected.max() > 0
        assert np.abs(seen - expected).max() < 0.02 * expected.max()


def test_a_lid_opened_in_the_second_tile_and_both_are_whole_in_the_end(booked, bench, tmp_path):
    """One arming for the run; it goes on at the tile and row of the cut, as a new run."""
    folder, sheet = bench
    rig = booked
    rig.set_origin()
    rig.load(folder)
    rig.arm()
    rig.ask("start")
    rig.etch_until_row(11)
    rig.wait(0.1)
    rig.board.open_lid()
    rig.wait_for_the_end()
    rig.board.close_lid()
    rig.get_ready()
    rig.wait(0.5)
    with pytest.raises(CommandRefused):
        rig.ask("start")  # nothing goes on by itself, nor without a reset
    rig.reset()
    told = as_table(rig.request("unfinished", run=1))
    rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)
    rig.arm()
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run.ended == "complete", rig.run.because
    rig.service.step()
    first, rest = (as_table(rig.records.ask("run", id=run))["tiles"] for run in (1, 2))

    assert any("of tile 2 of 2, in pocket 2" in sentence for sentence in told["known"])
    assert told["next_tile"] is None
    assert [(tile["pocket"], tile["ended"]) for tile in first] == [
        (1, "complete"),
        (2, "stopped"),
    ]
    assert [(tile["pocket"], tile["ended"]) for tile in rest] == [(2, "complete")]
    with Rig(tmp_path / "box", PracticeMachine(firmware="32-bit")) as other:
        etched(other, folder)
        for part in sheet.parts:
            seen, expected = light_of(rig, part.picture), light_of(other, part.picture)
            is_lit = expected > 0.5 * np.median(expected[expected > 0])
            share = seen[is_lit] / expected[is_lit]
            # The seam: a few cells of one row, within the logged error.
            assert np.mean(np.abs(share - 1) > 0.3) < (0.02 if part.pocket == 2 else 1e-9)


def test_a_tile_that_was_cut_is_left_out_and_the_next_is_etched_whole(booked, bench, tmp_path):
    folder, sheet = bench
    rig = booked
    rig.set_origin()
    rig.load(folder)
    rig.arm()
    rig.ask("start")
    rig.etch_until_row(3)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()
    rig.wait(0.5)
    spoilt, following = sheet.parts
    light_before = light_of(rig, spoilt.picture)

    told = as_table(rig.request("unfinished", run=1))["next_tile"]
    behind = as_table(rig.request("unfinished", run=1, row=told["row"]))
    rig.ask("reenter", run=1, confirm=NOT_MOVED, row=told["row"])
    rig.arm()
    rig.ask("start")
    rig.wait_for_the_end()
    rig.service.step()

    assert told == {
        "left_out": spoilt.pocket, "row": following.first_row, "pocket": following.pocket,
        "title": following.title,
    }  # fmt: skip
    assert behind["next_tile"] is None  # there are two tiles
    assert [(tile["pocket"], tile["ended"]) for tile in tiles_of(rig, run=2)] == [
        (following.pocket, "complete")
    ]
    assert np.array_equal(light_of(rig, spoilt.picture), light_before)
    with Rig(tmp_path / "box", PracticeMachine(firmware="32-bit")) as other:
        etched(other, folder)
        whole = light_of(other, following.picture)
    assert np.allclose(light_of(rig, following.picture), whole, atol=0.02 * whole.max())


def tiles_of(rig, *, run):
    return as_table(rig.records.ask("run", id=run))["tiles"]
