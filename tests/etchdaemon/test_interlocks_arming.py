"""Arming: the checklist, the loop test, somebody at the machine, and a minute to start in."""

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.conditions.presence import Presence
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.rule_table import Phase
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.arming import ArmingStep
from etchdaemon.interlocks.start.checklist import QUESTIONS, Checklist, HowOften
from etchdaemon.interlocks.start.starting import StartRequest
from support.harnesses.interlock_bench import ANSWERS, DAY, MINIMUM, NOON, Bench

A_RUN = StartRequest(lasts_s=600, starts_at=NOON)


@pytest.fixture
def bench():
    return Bench()


def test_arming_tests_the_loop_waits_for_somebody_and_is_done(bench):
    bench.run(1)
    bench.ask_to_arm()
    bench.run(0.5)
    waiting = bench.interlocks.arming

    bench.press_button()

    assert waiting.step is ArmingStep.PRESENCE
    assert waiting.is_loop_proven
    assert bench.interlocks.phase is Phase.ARMED


def test_the_loop_test_closes_the_beams_contact_for_a_tenth_of_a_second_at_most(bench):
    bench.run(1)
    bench.follows_beam = False
    bench.open(Input.LOOP_CLOSED)  # a relay that does not answer: the longest test there is
    bench.ask_to_arm()

    closed = [bench.tick().outputs[Output.BEAM_ENABLE] for _ in range(100)]

    assert 0.1 <= sum(closed) * 0.01 <= 0.12
    assert not closed[-1]
    assert "stays open" in (bench.interlocks.arming.failed_because or "")


def test_a_loop_that_is_closed_before_the_test_is_an_emergency(bench):
    bench.run(1)
    bench.ask_to_arm()
    bench.follows_beam = False
    bench.close(Input.LOOP_CLOSED)

    bench.run(0.1)

    assert bench.tripped == ["loop open when off"]
    assert bench.interlocks.arming.step is ArmingStep.DISARMED


def test_opening_the_lid_during_the_loop_test_ends_it_at_the_first_sample(bench):
    bench.run(1)
    bench.follows_beam = False
    bench.open(Input.LOOP_CLOSED)
    bench.ask_to_arm()
    bench.tick()
    assert bench.tick().outputs[Output.BEAM_ENABLE]

    bench.open(Input.LID)
    orders = bench.tick()

    assert not orders.outputs[Output.BEAM_ENABLE]
    assert "lid is open" in (bench.interlocks.arming.failed_because or "")


def test_a_press_of_the_button_just_before_arming_counts(bench):
    bench.run(1)
    bench.press_button()

    bench.ask_to_arm()
    bench.run(0.5)

    assert bench.interlocks.arming.is_armed


def test_nobody_within_a_minute_undoes_arming(bench):
    bench.run(1)
    bench.ask_to_arm()
    bench.run(61)

    assert bench.interlocks.arming.step is ArmingStep.DISARMED
    assert "Nobody came" in (bench.interlocks.arming.failed_because or "")


def test_armed_lasts_a_minute_from_the_last_press(bench):
    bench.arm()
    bench.run(40)
    bench.press_button()
    bench.run(40)
    still_armed = bench.interlocks.arming.is_armed

    bench.run(21)

    assert still_armed
    assert not bench.interlocks.arming.is_armed


def test_a_button_that_never_comes_up_shows_nobody(bench):
    bench.run(1)
    bench.close(Input.ARM_BUTTON)
    bench.run(10.5)
    bench.open(Input.ARM_BUTTON)
    bench.run(1)
    bench.ask_to_arm()
    bench.run(2)

    assert not bench.interlocks.arming.is_armed


def test_a_button_that_is_down_at_the_start_of_the_box_shows_nobody(bench):
    bench.close(Input.ARM_BUTTON)
    bench.run(1)

    bench.open(Input.ARM_BUTTON)
    bench.run(0.1)

    assert not bench.interlocks.sampler.presence.is_recent(bench.now_s)


@pytest.mark.fault("arm button: a spark or a loose wire")
@pytest.mark.parametrize(("down_s", "is_press"), [(0.05, False), (0.08, False), (0.15, True)])
def test_a_press_lasts_a_tenth_of_a_second_at_least(bench, down_s, is_press):
    bench.run(1)
    bench.close(Input.ARM_BUTTON)
    bench.run(down_s)
    bench.open(Input.ARM_BUTTON)
    bench.run(0.1)

    assert bench.interlocks.sampler.presence.is_recent(bench.now_s) is is_press


@pytest.mark.fault("arm button: a spark or a loose wire")
def test_two_samples_that_bridge_a_release_are_no_press(bench):
    bench.run(1)
    bench.close(Input.ARM_BUTTON)
    bench.run(0.06)
    bench.tick(opened=(Input.ARM_BUTTON,))  # it was up in between, unseen
    bench.run(0.06)
    bench.open(Input.ARM_BUTTON)
    bench.run(0.1)

    assert not bench.interlocks.sampler.presence.is_recent(bench.now_s)


def test_an_edge_of_the_lid_without_an_open_sample_is_nobody_at_the_machine():
    bench = Bench(Setup(wired=EVERYTHING - {Input.ARM_BUTTON}))
    bench.run(1)

    bench.tick(opened=(Input.LID, Input.LID_SECOND))
    bench.run(2)

    assert not bench.interlocks.sampler.presence.is_recent(bench.now_s)


@pytest.mark.fault("arm button stuck or bridged")
def test_a_button_that_is_bridged_is_found_and_nothing_is_armed(bench):
    bench.run(1)
    bench.close(Input.ARM_BUTTON)
    bench.run(9)
    found = bench.interlocks.sampler.breaches(bench.now_s)
    assert Condition.BUTTON_RELEASED not in {one.rule.requires for one in found}
    bench.run(2)

    with pytest.raises(CommandRefused, match="stuck or bridged"):
        bench.ask_to_arm()
    bench.open(Input.ARM_BUTTON)
    bench.run(1)
    bench.ask_to_arm()
    assert bench.tripped == []


def test_without_a_button_the_lid_opened_and_shut_shows_somebody():
    bench = Bench(Setup(wired=EVERYTHING - {Input.ARM_BUTTON}))
    bench.run(1)
    bench.ask_to_arm()
    bench.run(0.5)

    bench.open_and_shut_lid()
    bench.run(0.1)

    assert bench.interlocks.arming.is_armed


def test_a_button_pressed_while_the_lid_is_open_arms_only_once_it_is_shut(bench):
    bench.run(1)
    bench.ask_to_arm()
    bench.run(0.5)
    bench.open(Input.LID)
    bench.open(Input.LID_SECOND)
    bench.press_button()
    before = bench.interlocks.arming.is_armed
    bench.close(Input.LID)
    bench.close(Input.LID_SECOND)
    bench.run(1)

    assert not before
    assert bench.interlocks.arming.is_armed
    assert bench.tripped == []


def test_opening_the_lid_disarms_and_is_latched(bench):
    bench.arm()

    bench.tick(opened=(Input.LID,))

    assert not bench.interlocks.arming.is_armed
    assert bench.tripped == ["lid closed"]


def test_arming_with_the_lid_open_is_refused(bench):
    bench.open(Input.LID)
    bench.run(1)

    with pytest.raises(CommandRefused, match="lid is open"):
        bench.ask_to_arm()


def test_starting_without_arming_is_refused(bench):
    bench.run(1)

    with pytest.raises(CommandRefused, match="Arm the box"):
        bench.interlocks.begin_run(A_RUN, bench.now_s)


def test_a_start_before_the_purge_is_over_is_refused(bench):
    bench.run(1)
    bench.ask_to_arm()
    bench.press_button()
    bench.run(1)

    with pytest.raises(CommandRefused, match="clears the box"):
        bench.interlocks.begin_run(A_RUN, bench.now_s)


def test_a_start_uses_up_the_arming_and_the_questions_about_the_tile(bench):
    bench.start()
    bench.interlocks.end_run()

    asked = [question.how_often for question in bench.interlocks.checklist.open_questions(DAY)]
    assert set(asked) == {HowOften.TILE}
    assert not bench.interlocks.arming.is_armed


def test_the_beam_is_refused_without_a_run(bench):
    bench.arm()

    with pytest.raises(CommandRefused, match="no run"):
        bench.interlocks.allow_beam(bench.now_s)


def test_a_heartbeat_that_opens_the_loop_is_proven_at_arming():
    bench = Bench()
    bench.run(1)
    bench.ask_to_arm(with_heartbeat_test=True)
    bench.follows_beam = False
    bench.tick()
    bench.close(Input.LOOP_CLOSED)
    bench.run(0.3)
    withheld = {bench.tick().outputs[Output.HEARTBEAT] for _ in range(10)}

    bench.open(Input.LOOP_CLOSED)  # the monostable has run out
    bench.run(0.1)

    assert len(withheld) == 1
    assert bench.interlocks.arming.is_heartbeat_proven


def test_after_a_heartbeat_test_somebody_has_to_press_once_more_because_the_relay_has_fallen():
    bench = Bench()
    bench.run(1)
    bench.press_button()
    bench.ask_to_arm(with_heartbeat_test=True)
    bench.follows_beam = False
    bench.tick()
    bench.close(Input.LOOP_CLOSED)
    bench.run(0.3)
    bench.open(Input.LOOP_CLOSED)
    bench.run(0.3)
    step_before = bench.interlocks.arming.step

    bench.press_button()

    assert step_before is ArmingStep.PRESENCE
    assert bench.interlocks.arming.is_armed


def test_a_heartbeat_contact_that_does_not_open_fails_the_arming(bench):
    bench.run(1)
    bench.ask_to_arm(with_heartbeat_test=True)

    closed = [bench.tick().outputs[Output.BEAM_ENABLE] for _ in range(100)]

    assert "heartbeat stopped" in (bench.interlocks.arming.failed_because or "")
    assert sum(closed) * 0.01 <= 0.65


def test_constant_power_is_refused_unless_the_heartbeat_was_proven_at_this_arming(bench):
    bench.arm()
    wish = StartRequest(lasts_s=60, starts_at=NOON, has_constant_power=True)

    with pytest.raises(CommandRefused, match="hold the beam on at standstill"):
        bench.interlocks.begin_run(wish, bench.now_s)


def test_the_record_of_a_start_says_what_the_box_lacks_and_what_was_confirmed():
    bench = Bench(Setup(wired=MINIMUM))
    bench.arm()

    record = bench.interlocks.begin_run(A_RUN, bench.now_s)

    assert record["is_attended_only"]
    assert record["checklist"] == ANSWERS
    assert len(record["lacks"]) >= 5


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.key)
def test_each_open_question_alone_keeps_the_box_from_arming(bench, question):
    bench.run(1)
    answers = {key: value for key, value in ANSWERS.items() if key != question.key}

    with pytest.raises(CommandRefused, match="First confirm"):
        bench.interlocks.arm(answers, day=DAY, now_s=bench.now_s)


def test_questions_are_asked_again_as_often_as_their_answer_can_change():
    checklist = Checklist()
    checklist.answer(ANSWERS, DAY)
    assert checklist.open_questions(DAY) == ()

    next_day = {question.how_often for question in checklist.open_questions("2026-05-05")}
    checklist.note_bed_touched()
    new_bed = {question.how_often for question in checklist.open_questions(DAY)}

    assert next_day == {HowOften.DAY}
    assert new_bed == {HowOften.BED}


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("dry", False), ("dry", "yes"), ("dry", 1), ("focus", "eyeballs"), ("focus", True),
        ("coated hours ago", -1), ("coated hours ago", float("nan")), ("coated hours ago", True),
        ("coated hours ago", "a day"), ("coated hours ago", float("inf")), ("mood", True),
    ],
)  # fmt: skip
def test_an_answer_that_is_none_is_refused_and_nothing_is_taken(key, value):
    checklist = Checklist()

    with pytest.raises(CommandRefused):
        checklist.answer({"lens": True, key: value}, DAY)
    assert checklist.record() == {}


def test_a_start_uses_its_arming_up():
    bench = Bench()
    bench.arm()
    assert bench.interlocks.arming.is_armed

    bench.interlocks.begin_run(StartRequest(lasts_s=600.0, starts_at=NOON), bench.now_s)

    assert bench.interlocks.arming.step is ArmingStep.DISARMED


def test_a_trip_undoes_an_arming_that_is_done_and_a_reset_does_not_bring_it_back():
    bench = Bench()
    bench.arm()
    bench.tick(opened=(Input.STOP_CIRCUIT,))
    bench.run(1.0)

    bench.show_somebody()
    bench.reset_everything()
    bench.run(0.5)

    assert bench.interlocks.arming.step is ArmingStep.DISARMED


def test_what_forbids_undoes_an_arming_that_waits_for_somebody():
    bench = Bench()
    bench.run(1.0)
    bench.ask_to_arm()
    bench.run(0.5)
    assert bench.interlocks.arming.step is ArmingStep.PRESENCE

    bench.open(Input.TEMPERATURE)
    bench.run(1.5)

    assert bench.interlocks.arming.step is ArmingStep.DISARMED


def test_somebody_counts_as_being_there_for_a_minute_and_no_longer():
    pressed = Presence(at_s=100.0)

    assert pressed.is_recent(160.0)
    assert not pressed.is_recent(160.01)


def test_a_press_of_a_minute_ago_lets_nobody_reset_or_resume_from_a_phone():
    bench = Bench()
    bench.start()
    bench.show_somebody()
    bench.run(61.0)

    with pytest.raises(CommandRefused, match="A phone alone cannot resume"):
        bench.interlocks.resume_run(bench.now_s)
    bench.tick(opened=(Input.STOP_CIRCUIT,))
    bench.run(1.0)
    with pytest.raises(CommandRefused, match="is reset at the machine"):
        bench.reset_everything()
