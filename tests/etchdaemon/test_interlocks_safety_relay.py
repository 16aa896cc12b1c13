"""The safety relay as a value: what counts as having fallen, and what sets it again."""

import pytest

from etchdaemon.interlocks.checks.safety_relay import CANNOT, STAYS_OPEN_S, SafetyRelay
from etchdaemon.interlocks.checks.wiring import WITHHELD_S
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.limits import FAN_RUNS_ON_AFTER_S, HEARTBEAT_OPENS_WITHIN_S, MONOSTABLE_S
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from support.harnesses.interlock_bench import Bench


@pytest.fixture
def relay():
    return SafetyRelay(EVERYTHING)


def see(relay, *loops, every_s):
    for look, is_closed in enumerate(loops):
        relay.advance_test(is_closed=is_closed, now_s=10.0 + look * every_s)


def test_a_loop_that_stays_open_has_passed(relay):
    relay.begin_test(10.0)
    see(relay, True, False, False, False, every_s=STAYS_OPEN_S)

    assert relay.take_results() == (True,)
    assert not relay.is_tested


def test_a_loop_that_flickers_has_not(relay):
    relay.begin_test(10.0)
    see(relay, True, False, False, False, True, False, True, every_s=STAYS_OPEN_S / 4)

    assert relay.is_tested
    see(relay, *[True] * 70, every_s=0.01)
    assert relay.take_results() == (False,)
    assert relay.has_failed


@pytest.mark.parametrize("at_s", [0.0, HEARTBEAT_OPENS_WITHIN_S / 2, HEARTBEAT_OPENS_WITHIN_S])
def test_until_its_time_is_up_a_closed_loop_is_no_failure(relay, at_s):
    relay.begin_test(10.0)
    relay.advance_test(is_closed=True, now_s=10.0 + at_s)

    assert relay.is_tested


@pytest.mark.parametrize("end", [lambda r: r.abandon_test(), lambda r: see(r, None, every_s=1.0)])
def test_a_test_that_is_broken_off_or_cannot_be_read_has_no_result(relay, end):
    relay.begin_test(10.0)
    end(relay)
    see(relay, False, False, every_s=1.0)

    assert relay.take_results() == ()
    assert not relay.has_failed


def test_a_heartbeat_that_stops_for_as_long_as_the_monostable_may_hold_drops_the_relay(relay):
    relay.note_beat(10.0, is_beating=True)
    relay.note_beat(10.0 + MONOSTABLE_S[1] - 0.01, is_beating=False)
    assert not relay.is_down
    relay.note_beat(10.0 + MONOSTABLE_S[1], is_beating=False)

    assert relay.is_down


def test_after_a_halt_the_relay_counts_as_down_although_the_heartbeat_goes_on_at_once(relay):
    relay.note_beat(10.0, is_beating=True)

    relay.note_beat(15.0, is_beating=True)

    assert relay.is_down
    relay.note_press(15.5)
    assert not relay.is_down


@pytest.mark.parametrize(
    ("wired", "is_down"), [(EVERYTHING, True), (EVERYTHING - {Output.HEARTBEAT}, False)]
)
def test_a_halt_drops_no_relay_that_no_heartbeat_holds(wired, is_down):
    bench = Bench(Setup(wired=wired))
    bench.run(0.5)
    bench.tick(lasts_s=2 * MONOSTABLE_S[1])
    bench.run(0.5)
    bench.reset_everything()

    assert (bench.interlocks.required_action is not None) is is_down


def test_a_test_that_was_passed_leaves_the_relay_down_however_soon_it_fell(relay):
    relay.note_beat(10.0, is_beating=True)
    relay.note_result(has_passed=True)
    relay.note_beat(10.3, is_beating=True)
    relay.note_press(10.2)  # from before the heartbeat went on

    assert relay.required_action is not None


def test_before_the_first_heartbeat_nothing_is_known(relay):
    relay.note_beat(10.0, is_beating=False)
    relay.note_beat(20.0, is_beating=False)

    assert relay.required_action is None


def test_only_a_press_with_a_heartbeat_sets_it_again(relay):
    relay.note_beat(10.0, is_beating=True)
    relay.note_beat(11.0, is_beating=False)
    relay.note_press(11.5)  # with the heartbeat's contact open
    relay.note_beat(12.0, is_beating=True)
    relay.note_press(11.5)
    assert relay.is_down

    relay.note_press(12.5)

    assert relay.required_action is None


def test_where_no_button_is_wired_nobody_is_kept_from_arming():
    relay = SafetyRelay(EVERYTHING - {Input.ARM_BUTTON})
    relay.note_beat(10.0, is_beating=True)
    relay.note_beat(11.0, is_beating=False)

    assert relay.required_action is None


@pytest.mark.parametrize("missing", [Output.HEARTBEAT, Input.LOOP_CLOSED])
def test_without_heartbeat_or_loop_input_it_is_said_that_it_cannot_be_found(missing):
    relay = SafetyRelay(EVERYTHING - {missing})

    assert not relay.can_be_tested
    assert CANNOT in relay.report().sentence


def test_a_failure_outlives_the_daemon_and_only_a_later_test_clears_it(relay):
    relay.recall({"day": "2026-11-27", "has_passed": False})
    assert (relay.trouble is not None, relay.record()["has_passed"]) == (True, False)

    relay.note_result(has_passed=True)
    relay.note_day("2026-11-28")
    relay.recall({"day": "2026-11-27", "has_passed": False})

    assert relay.trouble is None
    assert relay.record() == {"day": "2026-11-28", "has_passed": True}


def test_nothing_withholds_the_heartbeat_long_enough_for_the_fan_to_run_on():
    assert max(HEARTBEAT_OPENS_WITHIN_S + STAYS_OPEN_S, WITHHELD_S) < FAN_RUNS_ON_AFTER_S


def test_at_the_look_that_ends_the_test_the_beams_contact_opens_and_the_heartbeat_goes_on():
    bench = Bench()
    bench.start()
    assert bench.interlocks.test_relay(bench.now_s)
    bench.follows_beam = False
    bench.open(Input.LOOP_CLOSED)

    while bench.interlocks.relay.is_tested:
        assert bench.is_beam_on
        last = bench.tick().outputs

    assert not last[Output.BEAM_ENABLE]
    assert bench.tick().outputs[Output.HEARTBEAT] is not last[Output.HEARTBEAT]
    assert bench.tripped == []


def test_a_cut_ends_the_test_without_a_result():
    bench = Bench()
    bench.start()
    assert bench.interlocks.test_relay(bench.now_s)

    bench.interlocks.cut_beam()
    bench.run(0.3)  # with the beam's contact the loop opens, whatever K1 does

    assert bench.interlocks.relay.take_results() == ()


@pytest.mark.parametrize("spoil", ["no run", "tripped", "beam off"])
def test_no_test_begins_without_a_run_after_a_trip_or_with_the_beams_contact_open(spoil):
    bench = Bench()
    bench.start()
    if spoil == "no run":
        bench.interlocks.end_run()
    elif spoil == "tripped":
        bench.open(Input.LID)
    else:
        bench.interlocks.cut_beam()
    bench.run(0.1)

    assert not bench.interlocks.test_relay(bench.now_s)
    assert not bench.interlocks.relay.is_tested
