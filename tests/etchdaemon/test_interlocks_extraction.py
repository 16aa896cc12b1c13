"""The fan: proven by its air changing state, on before the beam and after it."""

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.conditions.extraction import (
    SPIN_DOWN_S,
    Extraction,
    ExtractionTimes,
    FanStep,
)
from etchdaemon.interlocks.conditions.input_conditions import BeamContact, conditions
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.input_sampler import InputSampler
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.rule_table import Air, rules_for
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from support.harnesses.interlock_bench import Bench

TIMES = ExtractionTimes(purge_s=10.0, clearing_s=120.0)


def advanced(fan, *, wanted, air, at_s):
    return fan.advance(is_wanted=wanted, is_air_moving=air, now_s=at_s, times=TIMES)


def running_fan():
    fan = Extraction(since_s=0.0)
    fan = advanced(fan, wanted=True, air=False, at_s=20.0)
    return advanced(fan, wanted=True, air=True, at_s=21.0)


def test_the_purge_begins_when_the_air_starts_to_move_and_lasts_its_time():
    fan = running_fan()
    early = advanced(fan, wanted=True, air=True, at_s=30.9)
    done = advanced(fan, wanted=True, air=True, at_s=31.0)

    assert fan.step is FanStep.PURGING
    assert early.step is FanStep.PURGING
    assert done.is_ready


@pytest.mark.parametrize("step", FanStep)
def test_air_proves_extraction_only_while_the_fan_was_switched_on_for_it(step):
    bench = Bench()
    bench.follows_fan = False  # air moves whatever the fan does
    beam = BeamContact(is_on=False, since_s=0.0)

    seen = conditions(
        bench.sight(), wired=bench.interlocks.setup.inputs, fan=Extraction(step), beam=beam
    )

    assert seen[Condition.EXTRACTED] is (step in {FanStep.PURGING, FanStep.PROVEN})


def test_a_fan_whose_air_cannot_be_read_is_never_ready():
    bench, beam = Bench(), BeamContact(is_on=False, since_s=0.0)
    sampler = InputSampler(bench.interlocks.setup, rules_for(EVERYTHING))
    bench.open(Input.AIR_FLOW)
    sampler.take(bench.sight(), beam=beam, is_fan_wanted=True, air=Air.AS_IT_IS)
    bench.unread.add(Input.AIR_FLOW)

    for _ in range(100):
        bench.now_s += 1.0
        sampler.take(bench.sight(), beam=beam, is_fan_wanted=True, air=Air.AS_IT_IS)

    assert sampler.fan.step is FanStep.SPINNING_UP


def test_air_that_never_comes_proves_nothing():
    fan = advanced(Extraction(since_s=0.0), wanted=True, air=False, at_s=20.0)
    for at_s in range(21, 100):
        fan = advanced(fan, wanted=True, air=False, at_s=float(at_s))

    assert fan.step is FanStep.SPINNING_UP


def test_air_lost_during_the_purge_starts_it_again():
    fan = advanced(running_fan(), wanted=True, air=False, at_s=25.0)
    fan = advanced(fan, wanted=True, air=True, at_s=26.0)
    not_yet = advanced(fan, wanted=True, air=True, at_s=35.9)

    assert not not_yet.is_ready


def test_air_with_the_fan_off_is_a_stuck_contact_once_the_fan_has_run_down():
    fan = advanced(Extraction(since_s=0.0), wanted=False, air=True, at_s=SPIN_DOWN_S - 0.1)
    assert not fan.is_stuck

    fan = advanced(fan, wanted=False, air=True, at_s=SPIN_DOWN_S)
    assert fan.is_stuck


def test_a_stuck_contact_is_never_taken_for_a_proof():
    fan = Extraction(since_s=0.0)
    for at_s in range(60):
        fan = advanced(fan, wanted=True, air=True, at_s=float(at_s))

    assert not fan.is_on


def test_the_fan_waits_for_its_own_last_breath_before_it_proves_itself_again():
    fan = Extraction(since_s=100.0)
    coasting = advanced(fan, wanted=True, air=True, at_s=102.0)
    still = advanced(coasting, wanted=True, air=False, at_s=104.0)

    assert not coasting.is_on
    assert still.step is FanStep.SPINNING_UP


def test_the_fan_runs_on_for_its_clearing_time():
    fan = advanced(running_fan(), wanted=False, air=True, at_s=50.0)
    before = advanced(fan, wanted=False, air=True, at_s=169.9)
    after = advanced(fan, wanted=False, air=True, at_s=170.0)

    assert fan.step is FanStep.CLEARING
    assert before.is_on
    assert not after.is_on


def test_a_run_during_the_clearing_purges_anew_without_a_second_proof():
    fan = advanced(running_fan(), wanted=False, air=True, at_s=50.0)
    fan = advanced(fan, wanted=True, air=True, at_s=60.0)
    fan = advanced(fan, wanted=True, air=True, at_s=60.1)

    assert fan.step is FanStep.PURGING


def test_without_an_input_the_time_alone_counts():
    fan = advanced(Extraction(since_s=0.0), wanted=True, air=None, at_s=1.0)
    fan = advanced(fan, wanted=True, air=None, at_s=1.1)

    assert advanced(fan, wanted=True, air=None, at_s=11.1).is_ready


def test_fire_stops_the_fan_without_clearing():
    assert not running_fan().stop_now(30.0).is_on


def test_an_air_flow_contact_stuck_closed_keeps_the_box_from_arming():
    bench = Bench()
    bench.follows_fan = False
    bench.close(Input.AIR_FLOW)
    bench.run(SPIN_DOWN_S + 1)

    with pytest.raises(CommandRefused, match="air with the fan off"):
        bench.ask_to_arm()


def test_an_air_flow_contact_stuck_open_keeps_the_box_from_starting():
    bench = Bench()
    bench.follows_fan = False
    bench.open(Input.AIR_FLOW)

    with pytest.raises(CommandRefused, match="drawn off"):
        bench.start()


def test_a_pressure_pair_proves_air_only_inside_its_window():
    wired = (EVERYTHING - {Input.AIR_FLOW}) | {Input.PRESSURE_ABOVE_LOW, Input.PRESSURE_BELOW_HIGH}
    bench = Bench(Setup(wired=wired))
    bench.start()

    bench.open(Input.PRESSURE_BELOW_HIGH)  # a clogged filter: pressure up, flow down
    bench.run(5.2)

    assert not bench.is_beam_on
    assert bench.tripped == ["fumes extracted"]


def test_the_extraction_is_on_before_the_beam_and_after_the_run():
    bench = Bench()
    bench.arm()
    before = bench.outputs[Output.EXTRACTION]
    bench = Bench()
    bench.start()
    bench.interlocks.end_run()
    bench.run(100)
    after = bench.outputs[Output.EXTRACTION]
    bench.run(30)

    assert before
    assert after
    assert not bench.outputs[Output.EXTRACTION]
