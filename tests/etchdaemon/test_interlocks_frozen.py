"""Inputs that are read all the time and never change: what the box can make change, has to."""

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from support.harnesses.interlock_bench import Bench

PAIR = EVERYTHING - {Input.AIR_FLOW} | {Input.PRESSURE_ABOVE_LOW, Input.PRESSURE_BELOW_HIGH}


@pytest.mark.fault("inputs frozen: readings arrive, values never change")
@pytest.mark.parametrize("is_closed", [True, False])
def test_a_loop_that_never_changes_is_found_at_arming(is_closed):
    bench = Bench()
    bench.follows_beam = False
    bench.closed[Input.LOOP_CLOSED] = is_closed
    bench.run(1.0)

    if is_closed:
        assert bench.tripped == ["loop open when off"]
        with pytest.raises(CommandRefused):
            bench.ask_to_arm()
    else:
        bench.ask_to_arm()
        bench.run(0.5)
        assert "stays open" in (bench.interlocks.arming.failed_because or "")
    assert not bench.is_beam_on


def test_the_loop_has_to_change_at_every_arming_and_not_only_at_the_first():
    bench = Bench()
    bench.start()
    bench.interlocks.end_run()
    bench.run(0.5)
    bench.follows_beam = False  # frozen open

    bench.ask_to_arm()
    bench.run(0.5)

    assert "stays open" in (bench.interlocks.arming.failed_because or "")


@pytest.mark.slow
@pytest.mark.fault("inputs frozen: readings arrive, values never change")
@pytest.mark.parametrize("wired", [EVERYTHING, PAIR], ids=["paddle", "pressure"])
def test_air_that_never_changes_is_found_at_the_next_switching_on(wired):
    bench = Bench(Setup(wired=wired))
    bench.start()
    bench.follows_fan = False  # frozen, as if there were air for ever
    bench.interlocks.end_run()
    clearing_s = bench.interlocks.setup.extraction.clearing_s
    bench.run(clearing_s + 12.0)

    assert not bench.outputs[Output.EXTRACTION]
    with pytest.raises(CommandRefused, match="air with the fan off"):
        bench.ask_to_arm()


def test_between_two_tiles_the_fan_runs_on_and_its_air_is_not_asked_for_anew():
    bench = Bench()
    bench.start()
    bench.interlocks.end_run()
    bench.run(5.0)
    assert bench.outputs[Output.EXTRACTION]

    bench.arm()

    assert bench.interlocks.arming.is_armed
