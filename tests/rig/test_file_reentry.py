"""Another program's file, cut anywhere and taken up again: nothing burnt twice, the gap as told."""

import random

import numpy as np
import pytest

from etchdaemon.errors import CommandRefused
from etchpractice.firmware.firmware import FIRMWARES
from etchpractice.machine import PracticeMachine
from rig.bench import Rig
from rig.file_cuts import (
    FROM_MM,
    HATCHING,
    NOT_MOVED,
    TO_MM,
    cut,
    gap_of,
    go_on,
    light,
    outlook,
    start,
)

pytestmark = pytest.mark.slow

SPIRAL = "G21G90G94\nM4S0\nG0X10Y10\nG1S600F1500\n" + "".join(
    f"X{15 + n / 10 * np.cos(n / 5):.3f}Y{15 + n / 10 * np.sin(n / 5):.3f}\n" for n in range(120)
) + "M5\nG0X0Y0\nM2\n"  # fmt: skip
TO_AND_FRO = "G21G90G94\nM4S0\nG0X5Y5\nG1S600F1500\n" + "X25\nX5\n" * 10 + "S0\nG0X0Y9\n" + (
    "G1X9S600\nM5\nG0X0Y0\nM2\n"
)  # fmt: skip


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


@pytest.mark.parametrize("firmware", FIRMWARES)
def test_a_file_cut_anywhere_is_finished_with_no_more_than_the_gap_that_was_told(
    make_rig, firmware
):
    """Fifty on each firmware: `pytest -m measure tests/measure/file_cuts_test.py -s`."""
    whole = make_rig(firmware)
    start(whole, HATCHING)
    whole.wait_for_the_end()

    gaps = [gap_of(make_rig(firmware), seed, light(whole)) for seed in range(8)]

    assert [gap for gap in gaps if gap.is_wrong] == []
    assert max(gap.told_mm - gap.missing_mm for gap in gaps) < 2.5  # the error, both sides of it


def test_what_stays_unburnt_is_told_and_has_to_be_confirmed(make_rig):
    rig = make_rig()
    start(rig, HATCHING)
    rig.wait_until(lambda: rig.run.share > 0.2 and 8 < rig.machine.head_mm[0] < 15)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    told = outlook(rig)

    assert "reenter" in rig.commands.snapshot().may
    assert 0 < told["gap_mm"] <= TO_MM - FROM_MM
    assert f"Up to {told['gap_mm']:.1f} mm of the stroke that was cut stay unburnt" in " ".join(
        told["known"]
    )
    with pytest.raises(CommandRefused, match="would stay unburnt"):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)


def test_the_rest_of_a_file_can_be_cut_and_taken_up_again(make_rig):
    rig = make_rig()
    start(rig, HATCHING)
    cut(rig, random.Random(3))
    rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None, accept_gap=True)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")
    rig.wait(2.0)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    go_on(rig, run=2)

    assert light(rig)[-1].min() > 0


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
    start(rig, text)
    rig.wait_until(lambda: rig.machine.is_burning)
    rig.wait(1.5)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    told = outlook(rig)

    assert not told["may"]
    assert says in told["why_not"]
    with pytest.raises(Exception, match=says):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None, accept_gap=True)


def test_after_a_lost_port_nothing_says_where_it_was(make_rig):
    rig = make_rig()
    start(rig, HATCHING)
    rig.wait_until(lambda: rig.run.share > 0.2)
    rig.machine.unplug()
    rig.wait_for_the_end()
    rig.machine.plug_in()
    rig.get_ready()

    assert rig.commands.snapshot().unfinished is None
    assert "was not seen" in outlook(rig)["why_not"]
