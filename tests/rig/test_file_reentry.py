"""Another program's file, cut anywhere and taken up again: nothing burnt twice, the gap as told."""

import random

import numpy as np
import pytest

from etchdaemon.errors import CommandRefused
from etchpath.foreign_job import write_foreign_job
from etchpractice.exposure import CELL_MM
from etchpractice.firmware import FIRMWARES
from etchpractice.machine import PracticeMachine
from etchwire.examples import PRACTICE_HEADS
from rig.bench import Rig

HEAD = PRACTICE_HEADS["practice-20w"]
NOT_MOVED = "tile and head have not moved"
STROKES, FROM_MM, TO_MM, APART_MM = 24, 5.0, 20.0, 0.5
# Our own hatching: the modes, the feed and the power are said once and held.
HATCHING = "G21G90G94\nM4S0\nF1500\n" + "".join(
    f"G0X{FROM_MM:g}Y{5 + APART_MM * n:g}\nG1X{TO_MM:g}S600\n" for n in range(STROKES)
) + "M5\nG0X0Y0\nM2\n"  # fmt: skip
SPIRAL = "G21G90G94\nM4S0\nG0X10Y10\nG1S600F1500\n" + "".join(
    f"X{15 + n / 10 * np.cos(n / 5):.3f}Y{15 + n / 10 * np.sin(n / 5):.3f}\n" for n in range(120)
) + "M5\nG0X0Y0\nM2\n"  # fmt: skip
TO_AND_FRO = "G21G90G94\nM4S0\nG0X5Y5\nG1S600F1500\n" + "X25\nX5\n" * 10 + "S0\nG0X0Y9\n" + (
    "G1X9S600\nM5\nG0X0Y0\nM2\n"
)  # fmt: skip
WEAK, TWICE = 0.35, 1.3  # of a stroke's light, as in seeded_cuts
SEEN_MM = 0.1


@pytest.fixture
def make_rig(tmp_path):
    made = []

    def make(firmware="8-bit"):
        folder = tmp_path / str(len(made))
        folder.mkdir()
        made.append(Rig(folder, PracticeMachine(firmware=firmware)))
        return made[-1]

    yield make
    for rig in made:
        rig.__exit__()


def _start(rig, text):
    source, folder = rig.folder / "given.nc", rig.folder / "given"
    source.write_text(text)
    folder.mkdir()
    write_foreign_job(source, folder, head=HEAD, surface="practice tile, white paint")
    rig.start(folder)


def _cut(rig, draw):
    rig.wait_until(lambda: rig.machine.is_burning)
    rig.wait(draw.uniform(0.05, 10.0))
    if draw.random() < 0.5:
        rig.machine.controller.say("error:20")
    else:
        rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()


def _outlook(rig, run=1):
    return rig.wishes.request("unfinished", run=run, row=None)


def _go_on(rig, run=1):
    rig.ask("reenter", run=run, confirm=NOT_MOVED, row=None, accept_gap=True)
    rig.wait_until(lambda: "start" in rig.wishes.snapshot()["may"])
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run["ended"] == "complete", rig.run["because"]


def _light(rig):
    """Return the light on each stroke: (strokes, cells along x)."""
    columns = round((TO_MM - FROM_MM) / CELL_MM)
    rows = [round((5 + APART_MM * n) / CELL_MM) - 4 for n in range(STROKES)]
    cells = rig.machine.tile.exposure
    return np.array(
        [cells.window(round(FROM_MM / CELL_MM), row, columns, 8).sum(axis=0) for row in rows]
    )


@pytest.mark.parametrize("firmware", FIRMWARES)
def test_a_file_cut_anywhere_is_finished_with_no_more_than_the_gap_that_was_told(
    make_rig, firmware
):
    whole = make_rig(firmware)
    _start(whole, HATCHING)
    whole.wait_for_the_end()
    at_once = _light(whole)

    for seed in range(8):
        rig, draw = make_rig(firmware), random.Random(seed)
        _start(rig, HATCHING)
        _cut(rig, draw)
        told = _outlook(rig)
        assert told["may"], (seed, told["why_not"])
        _go_on(rig)

        share = _light(rig) / np.where(at_once > 0, at_once, 1.0)
        lit = at_once > 0.5 * np.median(at_once)
        missing = np.where(lit & (share < WEAK), 1 - share, 0.0).sum(axis=1) * CELL_MM
        assert np.count_nonzero(missing > SEEN_MM) <= 1, seed
        assert missing.max() <= told["gap_mm"] + SEEN_MM, seed
        assert missing.max() >= told["gap_mm"] - 2.5, seed  # the error, both sides of it
        assert (np.where(lit, share, 1.0) > TWICE).sum(axis=1).max() * CELL_MM <= SEEN_MM, seed


def test_what_stays_unburnt_is_told_and_has_to_be_confirmed(make_rig):
    rig = make_rig()
    _start(rig, HATCHING)
    rig.wait_until(lambda: rig.run["share"] > 0.2 and 8 < rig.machine.head_mm[0] < 15)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    told = _outlook(rig)

    assert "reenter" in rig.wishes.snapshot()["may"]
    assert 0 < told["gap_mm"] <= TO_MM - FROM_MM
    assert f"Up to {told['gap_mm']:.1f} mm of the stroke that was cut stay unburnt" in " ".join(
        told["known"]
    )
    with pytest.raises(CommandRefused, match="would stay unburnt"):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)


def test_the_rest_of_a_file_can_be_cut_and_taken_up_again(make_rig):
    rig = make_rig()
    _start(rig, HATCHING)
    _cut(rig, random.Random(3))
    rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None, accept_gap=True)
    rig.wait_until(lambda: "start" in rig.wishes.snapshot()["may"])
    rig.ask("start")
    rig.wait(2.0)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    _go_on(rig, run=2)

    assert _light(rig)[-1].min() > 0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TO_AND_FRO, "more than once where the beam went out"),
        (SPIRAL, "nothing is left but the end of that stroke"),
    ],
    ids=["repeated passes", "one stroke to the end"],
)
def test_where_it_cannot_be_taken_up_the_reason_is_said(make_rig, text, says):
    rig = make_rig()
    _start(rig, text)
    rig.wait_until(lambda: rig.machine.is_burning)
    rig.wait(1.5)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    told = _outlook(rig)

    assert not told["may"]
    assert says in told["why_not"]
    with pytest.raises(Exception, match=says):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None, accept_gap=True)


def test_after_a_lost_port_nothing_says_where_it_was(make_rig):
    rig = make_rig()
    _start(rig, HATCHING)
    rig.wait_until(lambda: rig.run["share"] > 0.2)
    rig.machine.unplug()
    rig.wait_for_the_end()
    rig.machine.plug_in()
    rig.get_ready()

    assert rig.wishes.snapshot()["unfinished"] is None
    assert "was not seen" in _outlook(rig)["why_not"]
