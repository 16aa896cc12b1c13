"""A flame that has to be confirmed, where a shop chooses so: beam out at once, emergency later."""

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.evaluation import FLICKER
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction, RuleChange
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from support.harnesses.interlock_bench import TICK_S, Bench

CONFIRM_S = 0.3
NAME = "no flame or smoke"


def bench_with(confirm_s):
    change = RuleChange(because="the welder next door", flame_confirm_s=confirm_s)
    return Bench(Setup(wired=EVERYTHING, changes={NAME: change}))


@pytest.fixture
def bench():
    return bench_with(CONFIRM_S)


@pytest.fixture
def etching(bench):
    bench.start()
    return bench


def flicker(bench, lasts_s=0.05):
    bench.open(Input.FLAME)
    bench.run(lasts_s)
    bench.close(Input.FLAME)


def flame_trip(bench):
    return next(trip for trip in bench.interlocks.latch.trips if trip.rule.name == NAME)


def test_unless_a_shop_chooses_otherwise_the_first_edge_is_an_emergency():
    bench = Bench()
    bench.start()

    orders = bench.tick(opened=(Input.FLAME,))

    assert orders.verdict.reaction is Reaction.EMERGENCY


def test_the_first_edge_cuts_the_beam_and_is_a_trip_that_says_what_was_seen(etching):
    orders = etching.tick(opened=(Input.FLAME,))

    assert orders.verdict.reaction is Reaction.TRIP
    assert FLICKER in orders.verdict.sentence
    assert not etching.is_beam_on


@pytest.mark.slow
@pytest.mark.fault("a flame that flickers, where it has to be confirmed")
@pytest.mark.parametrize(
    ("after_s", "reaction"), [(0.1, Reaction.EMERGENCY), (9.9, Reaction.EMERGENCY),
                              (10.2, Reaction.TRIP)]
)  # fmt: skip
def test_a_second_edge_within_ten_seconds_is_an_emergency(etching, after_s, reaction):
    etching.tick(opened=(Input.FLAME,))
    for _ in range(round(after_s / TICK_S)):
        etching.tick()

    etching.tick(opened=(Input.FLAME,))

    assert flame_trip(etching).reaction is reaction


@pytest.mark.fault("a flame that flickers, where it has to be confirmed")
@pytest.mark.parametrize(
    ("lasts_s", "reaction"), [(0.29, Reaction.TRIP), (0.32, Reaction.EMERGENCY)]
)
def test_a_flame_that_is_seen_for_as_long_as_that_is_an_emergency(etching, lasts_s, reaction):
    etching.open(Input.FLAME)
    etching.run(lasts_s)

    assert flame_trip(etching).reaction is reaction


def test_a_flame_that_flickers_ten_times_a_second_is_an_emergency_at_its_second_sight(etching):
    flicker(etching)
    etching.run(0.05)
    before = flame_trip(etching).reaction

    flicker(etching)

    assert (before, flame_trip(etching).reaction) == (Reaction.TRIP, Reaction.EMERGENCY)


def test_a_contact_that_bounces_is_one_edge(etching):
    etching.tick(opened=(Input.FLAME,))
    etching.tick(opened=(Input.FLAME,))
    etching.run(1.0)

    assert flame_trip(etching).reaction is Reaction.TRIP


def test_a_contact_that_chatters_is_an_emergency(etching):
    for _ in range(5):
        etching.tick(opened=(Input.FLAME,))

    assert flame_trip(etching).reaction is Reaction.EMERGENCY


def test_the_heartbeat_and_the_fan_stop_only_once_it_is_confirmed(etching):
    etching.tick(opened=(Input.FLAME,))
    beats = {etching.tick().outputs[Output.HEARTBEAT] for _ in range(5)}
    had_fan = etching.outputs[Output.EXTRACTION]

    etching.tick(opened=(Input.FLAME,))
    dead = {etching.tick().outputs[Output.HEARTBEAT] for _ in range(50)}

    assert (len(beats), had_fan) == (2, True)
    assert (len(dead), etching.outputs[Output.EXTRACTION]) == (1, False)


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.ARMED])
def test_whatever_the_box_is_at_a_flicker_forbids_arming_and_start(bench, phase):
    bench.run(1)
    if phase is Phase.ARMED:
        bench.arm()
    flicker(bench)
    bench.run(1)

    with pytest.raises(CommandRefused, match="Reset first"):
        bench.ask_to_arm()
    assert bench.interlocks.phase is Phase.IDLE


def test_after_a_look_and_a_reset_at_the_machine_it_may_go_on(etching):
    flicker(etching)
    etching.run(1)
    etching.interlocks.end_run()
    with pytest.raises(CommandRefused, match="at the machine"):
        etching.reset_everything()

    etching.press_button()
    etching.reset_everything()
    etching.start()

    assert etching.is_beam_on


def test_a_reset_makes_no_second_edge_a_first_one(etching):
    flicker(etching)
    etching.run(1)
    etching.press_button()
    etching.reset_everything()

    etching.tick(opened=(Input.FLAME,))

    assert flame_trip(etching).reaction is Reaction.EMERGENCY


def test_a_detector_that_cannot_be_read_is_no_flicker(etching):
    etching.unread.add(Input.FLAME)
    etching.run(1)

    assert flame_trip(etching).reaction is Reaction.TRIP
    assert "cannot be read" in flame_trip(etching).sentence
