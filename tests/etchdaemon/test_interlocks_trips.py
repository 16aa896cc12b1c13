"""What a broken rule does to the box, one row of the single-fault table after the other."""

from dataclasses import replace
from itertools import pairwise

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.inputs import CUTS_ON_EDGE, Input, Output
from etchdaemon.interlocks.limits import CONTACT_S
from etchdaemon.interlocks.outputs.output_demand import OutputDemand
from etchdaemon.interlocks.rules.rule_table import RULES, Reaction
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.arming import Arming
from etchdaemon.interlocks.start.starting import StartRequest
from support.harnesses.interlock_bench import ANSWERS, DAY, MINIMUM, NOON, TICK_S, Bench

AT_ONCE = sorted(CUTS_ON_EDGE)


@pytest.fixture
def bench():
    return Bench()


@pytest.mark.parametrize("name", AT_ONCE)
def test_opening_a_circuit_puts_the_beam_out_at_the_first_sample(bench, name):
    bench.start()

    bench.open(name)
    bench.tick()

    assert not bench.is_beam_on


@pytest.mark.parametrize("name", AT_ONCE)
def test_an_edge_alone_trips_although_every_poll_reads_closed(bench, name):
    bench.start()

    bench.tick(opened=(name,))

    assert not bench.is_beam_on
    assert bench.tripped


@pytest.mark.slow
@pytest.mark.parametrize("name", AT_ONCE)
def test_the_beam_stays_out_when_the_circuit_closes_again(bench, name):
    bench.start()
    bench.open(name)
    bench.tick()

    bench.close(name)
    bench.run(30)

    assert not bench.is_beam_on
    with pytest.raises(CommandRefused, match="Reset first"):
        bench.interlocks.allow_beam(bench.now_s)


def test_what_was_unread_and_then_burnt_stays_an_emergency_when_the_flame_has_gone(bench):
    bench.start()
    bench.unread.add(Input.FLAME)
    bench.tick()
    assert bench.reaction is Reaction.TRIP

    bench.unread.clear()
    bench.open(Input.FLAME)
    bench.run(1)
    bench.close(Input.FLAME)
    bench.run(10)

    assert bench.reaction is Reaction.EMERGENCY


@pytest.mark.parametrize("reaction", [Reaction.TRIP, Reaction.EMERGENCY])
def test_a_trip_drives_no_beam_though_one_is_still_requested(reaction):
    demand = OutputDemand(
        reaction=reaction,
        is_beam_requested=True,
        arming=Arming(),
        is_relay_tested=False,
        tried_output=None,
        is_fan_on=True,
    )

    levels = demand.levels(heartbeat=True, is_lamp_on=False, is_buzzer_on=False)

    assert levels[Output.BEAM_ENABLE] is False


def test_no_line_may_be_fed_while_a_rule_asks_for_a_hold(bench):
    bench.start()
    assert bench.interlocks.may_burn(bench.now_s)
    bench.follows_fan = False
    bench.open(Input.AIR_FLOW)

    bench.run(2.5)

    assert bench.reaction is Reaction.HOLD
    assert not bench.interlocks.may_burn(bench.now_s)


def test_the_beam_of_one_run_is_not_the_next_ones(bench):
    bench.start()
    bench.interlocks.end_run()
    bench.run(1)

    bench.arm()
    bench.interlocks.begin_run(StartRequest(lasts_s=600.0, starts_at=NOON), bench.now_s)
    bench.run(1)

    assert not bench.is_beam_on


def test_without_a_run_nobody_may_wish_for_a_beam(bench):
    bench.arm()

    with pytest.raises(CommandRefused, match="There is no run"):
        bench.interlocks.allow_beam(bench.now_s)


@pytest.mark.parametrize("name", sorted(set(Bench().closed) - {Input.ARM_BUTTON}))
def test_an_input_that_can_no_longer_be_read_puts_the_beam_out(bench, name):
    bench.start()

    bench.unread.add(name)
    bench.run(5.1)

    assert not bench.is_beam_on


@pytest.mark.parametrize("name", sorted(set(Bench().closed) - {Input.ARM_BUTTON}))
def test_an_input_whose_reading_grows_old_puts_the_beam_out(bench, name):
    bench.start()

    bench.frozen_at_s[name] = bench.now_s
    bench.run(5.4)

    assert not bench.is_beam_on


def test_losing_the_whole_board_is_a_trip_and_not_a_fire(bench):
    bench.start()

    bench.unread |= set(bench.closed)
    orders = bench.tick()

    assert orders.verdict.reaction is Reaction.TRIP
    assert not bench.is_beam_on
    assert bench.outputs[Output.EXTRACTION]


@pytest.mark.slow
@pytest.mark.parametrize("name", AT_ONCE)
def test_a_contact_chattering_at_a_kilohertz_trips_and_cannot_be_reset(bench, name):
    bench.start()
    for _ in range(200):
        bench.tick(opened=(name,))  # closed at every poll, open in between

    with pytest.raises(CommandRefused, match="not good again"):
        bench.reset_everything()


@pytest.mark.parametrize(("name", "limit_s"), [(Input.AIR_FLOW, 5.0), (Input.TEMPERATURE, 5.0)])
def test_a_chattering_slow_input_is_a_trip_within_five_seconds(bench, name, limit_s):
    bench.start()
    bench.follows_fan = False

    for step in range(round(limit_s / 0.01) + 5):
        bench.closed[name] = step % 2 == 0
        bench.tick()

    assert bench.reaction is Reaction.TRIP
    assert not bench.is_beam_on


def test_a_dead_fan_holds_at_the_rows_end_first_and_trips_after_five_seconds(bench):
    bench.start()
    bench.follows_fan = False
    bench.open(Input.AIR_FLOW)

    bench.run(1.9)
    before = bench.reaction
    bench.run(0.2)
    holding, is_beam_still_on = bench.reaction, bench.is_beam_on
    bench.run(3.1)

    assert (before, holding, is_beam_still_on) == (Reaction.NOTHING, Reaction.HOLD, True)
    assert bench.reaction is Reaction.TRIP
    assert not bench.is_beam_on


def test_a_short_lull_of_the_air_does_nothing(bench):
    bench.start()
    bench.follows_fan = False
    bench.open(Input.AIR_FLOW)
    bench.run(1.5)
    bench.close(Input.AIR_FLOW)

    bench.run(10)

    assert bench.reaction is Reaction.NOTHING
    assert bench.is_beam_on


def test_two_lid_contacts_that_disagree_are_found_out(bench):
    bench.start()

    bench.open(Input.LID)
    bench.run(0.05)
    assert bench.tripped == ["lid closed"]

    bench.run(2.1)
    assert bench.tripped == ["lid closed", "lid contacts agree"]


def test_a_contact_stuck_closed_is_found_out_at_idle_and_stays_latched(bench):
    bench.run(1)
    bench.open(Input.LID)  # the other one is stuck
    bench.run(2.5)
    bench.close(Input.LID)
    bench.run(2)

    assert bench.tripped == ["lid contacts agree"]
    with pytest.raises(CommandRefused, match="disagree"):
        bench.ask_to_arm()


def test_a_slow_lid_is_not_a_fault_of_its_contacts(bench):
    bench.run(1)
    bench.open(Input.LID)
    bench.run(1.5)
    bench.open(Input.LID_SECOND)
    bench.run(5)

    assert bench.tripped == []


def test_a_loop_closed_while_switched_off_is_an_emergency_even_at_idle(bench):
    bench.run(1)
    bench.follows_beam = False
    bench.close(Input.LOOP_CLOSED)

    bench.tick()

    assert bench.reaction is Reaction.EMERGENCY
    assert "mains supply now" in bench.interlocks.latch.trips[0].sentence


def test_a_welded_beam_contact_is_found_out_when_the_beam_is_cut(bench):
    bench.start()
    bench.follows_beam = False  # the loop goes on reading closed

    bench.interlocks.cut_beam()
    bench.run(0.2)

    assert bench.reaction is Reaction.EMERGENCY


def test_a_loop_read_before_its_contact_moved_is_no_fault_however_late_it_is_judged(bench):
    """Another thread cuts the beam while the one that looks is kept waiting by a busy computer."""
    bench.start()
    seen = bench.sight()
    bench.interlocks.cut_beam()
    bench.interlocks.note_beam_driven(is_on=False, now_s=bench.now_s)

    bench.now_s += 2 * CONTACT_S
    bench.interlocks.look(replace(seen, now_s=bench.now_s))

    assert bench.tripped == []


def test_a_loop_lost_in_mid_run_puts_the_beam_out(bench):
    bench.start()
    bench.follows_beam = False
    bench.open(Input.LOOP_CLOSED)

    bench.tick()

    assert bench.reaction is Reaction.TRIP
    assert not bench.is_beam_on


def test_a_loop_that_does_not_close_within_a_tenth_of_a_second_is_a_trip(bench):
    bench.arm()
    bench.follows_beam = False
    bench.open(Input.LOOP_CLOSED)
    bench.interlocks.begin_run(StartRequest(lasts_s=60, starts_at=NOON), bench.now_s)
    bench.interlocks.allow_beam(bench.now_s)
    bench.run(0.1)
    assert bench.is_beam_on
    assert not bench.interlocks.may_burn(bench.now_s)

    bench.run(0.05)
    assert not bench.is_beam_on


def test_a_hanging_loop_puts_the_beam_out_and_the_heartbeat_stops_before(bench):
    bench.start()
    bench.is_loop_alive = False

    beats = [bench.tick().outputs[Output.HEARTBEAT] for _ in range(27)]

    assert len(set(beats[10:])) == 1, "no beat later than 100 ms after the loop hung"
    assert not bench.is_beam_on


def test_a_loop_that_waits_for_the_logbook_goes_without_a_beam_and_is_not_taken_to_hang(bench):
    bench.start()
    bench.interlocks.note_loop_alive(bench.now_s, is_waiting=True)
    bench.is_loop_alive = False

    beats = [bench.tick().outputs[Output.HEARTBEAT] for _ in range(100)]
    was_beam_on = bench.is_beam_on
    bench.run(14.5)

    assert not was_beam_on
    assert set(beats) == {True, False}
    assert bench.tripped == ["daemon's loop alive"], (
        "but it may not be away for longer than it said"
    )


def test_the_heartbeat_beats_at_every_look_while_the_loop_is_alive(bench):
    bench.run(1)
    beats = [bench.tick().outputs[Output.HEARTBEAT] for _ in range(6)]

    assert beats in ([True, False] * 3, [False, True] * 3)


def test_a_guard_that_stops_looking_is_noticed_by_whoever_steers(bench):
    bench.start()
    bench.now_s += 0.26

    verdict = bench.interlocks.judge(bench.now_s)

    assert verdict.reaction >= Reaction.TRIP
    assert "guard well" in bench.tripped
    assert not bench.tick().outputs[Output.BEAM_ENABLE]


def test_whoever_notices_that_the_guard_does_not_look_is_not_said_to_hang(bench):
    bench.start()
    bench.now_s += 0.26
    bench.interlocks.note_loop_alive(bench.now_s)

    bench.interlocks.judge(bench.now_s)

    assert bench.tripped == ["guard well"]


def test_a_failure_of_the_guard_trips(bench):
    bench.start()

    bench.interlocks.note_failed(bench.now_s)
    orders = bench.tick()

    assert orders.verdict.reaction is Reaction.TRIP
    assert not bench.is_beam_on


def test_a_reset_names_what_the_person_was_shown(bench):
    bench.start()
    bench.open(Input.LID)
    bench.open(Input.LID_SECOND)
    bench.run(0.1)
    bench.close(Input.LID)
    bench.close(Input.LID_SECOND)
    bench.run(1)

    bench.interlocks.reset(["lid closed"], bench.now_s)

    assert bench.tripped == []
    assert not bench.is_beam_on


def test_a_reset_of_something_that_has_not_tripped_is_refused(bench):
    bench.run(1)

    with pytest.raises(CommandRefused, match="bread bin"):
        bench.interlocks.reset(["bread bin"], bench.now_s)


@pytest.mark.fault("unknown reset")
def test_a_reset_that_is_refused_in_part_resets_nothing(bench):
    bench.start()
    bench.open(Input.LID)
    bench.run(2.5)
    bench.close(Input.LID)
    bench.run(1)

    with pytest.raises(CommandRefused):
        bench.reset_everything()
    assert bench.tripped == ["lid closed", "lid contacts agree"]


def test_after_a_stop_somebody_has_to_reset_at_the_machine(bench):
    bench.start()
    bench.open(Input.STOP_CIRCUIT)
    bench.run(0.1)
    bench.close(Input.STOP_CIRCUIT)
    bench.run(61)
    with pytest.raises(CommandRefused):
        bench.reset_everything()
    assert bench.tripped

    bench.press_button()
    bench.reset_everything()

    assert bench.tripped == []


def test_a_reset_before_the_stable_time_is_refused(bench):
    bench.start()
    bench.open(Input.LID)
    bench.tick()
    bench.close(Input.LID)
    bench.run(0.4)

    with pytest.raises(CommandRefused, match="not good again"):
        bench.reset_everything()


def test_a_reset_alone_never_brings_the_beam_back(bench):
    bench.start()
    bench.tick(opened=(Input.LID,))
    bench.run(1)

    bench.reset_everything()
    bench.run(10)

    assert not bench.is_beam_on


def test_resuming_needs_a_person_at_the_machine(bench):
    bench.start()
    bench.tick(opened=(Input.LID,))
    bench.run(61)
    bench.reset_everything()
    with pytest.raises(CommandRefused, match="phone alone"):
        bench.interlocks.resume_run(bench.now_s)

    bench.press_button()
    bench.interlocks.resume_run(bench.now_s)
    bench.interlocks.allow_beam(bench.now_s)
    bench.run(0.2)

    assert bench.is_beam_on


def test_one_press_of_the_button_resumes_once(bench):
    bench.start()
    bench.press_button()
    bench.interlocks.resume_run(bench.now_s)

    with pytest.raises(CommandRefused, match="phone alone"):
        bench.interlocks.resume_run(bench.now_s)


def test_resuming_with_the_lid_open_is_refused(bench):
    bench.start()
    bench.open(Input.LID)
    bench.run(0.1)
    bench.press_button()

    with pytest.raises(CommandRefused, match="lid is open"):
        bench.interlocks.resume_run(bench.now_s)


def test_fire_switches_the_extraction_off_and_a_lid_leaves_it_on(bench):
    bench.start()
    bench.tick(opened=(Input.LID,))
    bench.run(0.1)
    assert bench.outputs[Output.EXTRACTION]

    bench.open(Input.FLAME)
    bench.run(0.1)
    assert not bench.outputs[Output.EXTRACTION]


def test_a_trip_at_a_hold_does_not_soften_a_worse_one(bench):
    bench.start()
    bench.open(Input.FLAME)
    bench.tick()
    bench.open(Input.LID)
    bench.run(0.1)

    assert bench.reaction is Reaction.EMERGENCY


def test_the_small_shops_minimum_can_etch_and_is_tripped_by_its_lid():
    bench = Bench(Setup(wired=MINIMUM))
    bench.start()

    bench.open(Input.LID)
    bench.tick()

    assert not bench.is_beam_on


def test_a_second_start_is_refused(bench):
    bench.start()

    with pytest.raises(CommandRefused, match="already under way"):
        bench.interlocks.begin_run(StartRequest(lasts_s=60, starts_at=NOON), bench.now_s)


def test_without_a_lid_contact_the_box_only_watches():
    bench = Bench(Setup(wired=EVERYTHING - {Input.LID, Input.LID_SECOND}))
    bench.run(1)

    with pytest.raises(CommandRefused, match="No lid contact: the box only watches"):
        bench.interlocks.arm(ANSWERS, day=DAY, now_s=bench.now_s)


@pytest.mark.slow
def test_the_buzzer_sounds_on_an_emergency_until_the_reset(bench):
    bench.start()
    bench.open(Input.STOP_CIRCUIT)
    bench.run(600)

    sounds = [bench.tick().outputs[Output.BUZZER] for _ in range(50)]

    assert set(sounds) == {True, False}


def test_the_lamp_is_steady_when_armed_and_blinks_while_etching(bench):
    bench.arm()
    armed = {bench.tick().outputs[Output.LAMP] for _ in range(100)}
    bench = Bench()
    bench.start()
    etching = {bench.tick().outputs[Output.LAMP] for _ in range(100)}

    assert armed == {True}
    assert etching == {True, False}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_every_message_tells_a_person_something_in_whole_sentences(rule):
    assert rule.message.endswith(".")
    assert rule.message[0].isupper()


def beats(bench, seconds):
    """Return how often the heartbeat turned over."""
    levels = [bench.tick().outputs[Output.HEARTBEAT] for _ in range(round(seconds / TICK_S))]
    return sum(one is not other for one, other in pairwise(levels))


@pytest.mark.fault("beam contact welded, and a flame")
@pytest.mark.parametrize("name", [Input.FLAME, Input.STOP_CIRCUIT])
@pytest.mark.parametrize("is_etching", [True, False])
def test_in_an_emergency_the_heartbeat_stops_until_the_reset(bench, name, is_etching):
    if is_etching:
        bench.start()
    else:
        bench.run(1)
    assert beats(bench, 0.2) > 10
    bench.open(name)
    bench.tick()

    assert beats(bench, 1.0) == 0
    bench.close(name)
    bench.run(1)
    assert beats(bench, 1.0) == 0
    bench.interlocks.end_run()
    bench.press_button()
    names = {trip.rule.name for trip in bench.interlocks.latch.trips} - {"fumes extracted"}
    bench.interlocks.reset(names, bench.now_s)
    assert beats(bench, 0.2) > 10


@pytest.mark.fault("silent controller")
def test_a_controller_that_does_not_obey_stops_the_heartbeat_until_the_reset(bench):
    bench.start()
    bench.interlocks.controller_obeys = False
    bench.tick()

    assert not bench.is_beam_on
    assert beats(bench, 1.0) == 0
    bench.interlocks.end_run()
    bench.interlocks.controller_obeys = True
    assert beats(bench, 1.0) == 0
    bench.press_button()
    bench.interlocks.reset(["controller obeys"], bench.now_s)
    assert beats(bench, 0.2) > 10


def test_a_controller_that_does_not_obey_yet_cannot_be_reset(bench):
    bench.start()
    bench.interlocks.controller_obeys = False
    bench.run(1)
    bench.press_button()

    with pytest.raises(CommandRefused, match="not good again yet"):
        bench.interlocks.reset(["controller obeys"], bench.now_s)


@pytest.mark.fault("beam contact welded, found when the beam is cut")
def test_where_the_loop_stays_closed_the_heartbeat_stops_and_the_mains_is_to_be_cut(bench):
    bench.start()
    bench.follows_beam = False  # as a beam contact that is welded

    bench.interlocks.cut_beam()
    bench.run(0.2)

    assert beats(bench, 1.0) == 0
    sentence = bench.interlocks.latch.trips[0].sentence
    assert "The heartbeat was stopped" in sentence
    assert "cut the mains all the same" in sentence


def test_a_trip_stops_no_heartbeat(bench):
    bench.start()
    bench.open(Input.TEMPERATURE)
    bench.run(8)

    assert bench.reaction is Reaction.TRIP
    assert beats(bench, 0.2) > 10


def test_without_a_heartbeat_nobody_is_told_that_it_was_stopped():
    bench = Bench(Setup(wired=EVERYTHING - {Output.HEARTBEAT}))
    bench.run(1)
    bench.open(Input.FLAME)
    bench.tick()

    assert "heartbeat" not in bench.interlocks.latch.trips[0].sentence
