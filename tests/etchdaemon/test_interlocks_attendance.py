"""Somebody within reach: watch rounds, closing time, long runs, and what a box lacks."""

from dataclasses import replace
from datetime import UTC, datetime, time

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.attendance.looks_after_end import LooksAfterEnd
from etchdaemon.interlocks.attendance.watch_rounds import (
    AttendanceRules,
    late_end,
    refuse_past_closing,
)
from etchdaemon.interlocks.checks.wiring_gaps import (
    WIRING_GAPS,
    is_attended_only,
    is_watch_only,
    wiring_gaps,
)
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.starting import StartRequest, confirmations_for
from support.harnesses.interlock_bench import MINIMUM, NOON, Bench

pytestmark = pytest.mark.slow


def bench_with_rounds():
    rules = AttendanceRules(round_every_min=5.0, answer_within_min=2.0)
    bench = Bench(Setup(wired=EVERYTHING, attendance=rules))
    bench.start()
    return bench


def test_a_watch_round_that_nobody_answers_holds_at_the_rows_end():
    bench = bench_with_rounds()
    bench.run(5 * 60 + 1)
    asked = bench.interlocks.attendance.rounds.is_asking
    before = bench.reaction

    bench.run(2 * 60)

    assert asked
    assert before is Reaction.NOTHING
    assert bench.reaction is Reaction.HOLD
    assert bench.is_beam_on, "the row is finished before the machine rests"


def test_an_answered_round_starts_the_next_interval():
    bench = bench_with_rounds()
    bench.run(5 * 60 + 1)
    bench.interlocks.answer_round(bench.now_s)

    bench.run(5 * 60 - 1)
    between = bench.interlocks.attendance.rounds.is_asking
    bench.run(2)

    assert not between
    assert bench.interlocks.attendance.rounds.is_asking


def test_the_buzzer_asks_too():
    bench = bench_with_rounds()
    bench.run(5 * 60 + 1)

    assert {bench.tick().outputs[Output.BUZZER] for _ in range(250)} == {True, False}


def test_the_button_at_the_machine_answers_a_round_that_asks():
    bench = bench_with_rounds()
    bench.run(5 * 60 + 1)

    bench.press_button()

    assert not bench.interlocks.attendance.rounds.is_asking
    assert [note.text for note in bench.interlocks.attendance.notes] == [
        "Somebody answered the watch round at the machine."
    ]
    bench.run(5 * 60 - 1)
    assert not bench.interlocks.attendance.rounds.is_asking
    bench.run(2)
    assert bench.interlocks.attendance.rounds.is_asking


def test_a_spark_at_the_button_or_a_press_before_the_question_answers_no_round():
    bench = bench_with_rounds()
    bench.run(4 * 60)
    bench.press_button()
    bench.run(60 + 1)
    bench.close(Input.ARM_BUTTON)
    bench.tick()
    bench.open(Input.ARM_BUTTON)
    bench.run(0.1)

    assert bench.interlocks.attendance.rounds.is_asking


def test_a_missed_round_answered_with_the_button_is_reset_and_gone_on_with():
    bench = bench_with_rounds()
    bench.run(5 * 60 + 2 * 60 + 2)
    missed = bench.tripped

    bench.press_button()
    bench.run(1)
    bench.reset_everything()
    bench.interlocks.resume_run(bench.now_s)

    assert missed == ["somebody answers"]
    assert bench.reaction is Reaction.NOTHING


def test_rounds_come_every_twenty_minutes_with_five_to_answer_where_nothing_else_is_set():
    bench = Bench(Setup(wired=EVERYTHING - {Input.FLAME}))
    bench.start()

    bench.run(20 * 60 + 4.9 * 60)
    before = bench.reaction
    bench.run(0.2 * 60)

    assert before is Reaction.NOTHING
    assert bench.reaction is Reaction.HOLD


def bench_after_the_end():
    bench = Bench(Setup(wired=EVERYTHING, attendance=AttendanceRules(look_every_min=1.0)))
    bench.start()
    bench.interlocks.end_run()
    bench.tick()
    return bench


def test_after_the_end_it_asks_for_a_look_twice_a_quarter_of_an_hour_apart():
    looks = LooksAfterEnd(has_burnt=True)
    asked_at_min = []
    for second in range(3600):
        before = looks.number
        looks = looks.advance(
            is_etching=False,
            is_beam_on=False,
            every_min=AttendanceRules().look_every_min,
            now_s=500.0 + second,
        )
        if looks.number != before:
            asked_at_min.append(second / 60)

    assert asked_at_min == [15, 30]


def test_a_look_sounds_the_buzzer_for_a_minute_at_most_and_says_what_to_look_for():
    bench = bench_after_the_end()
    bench.run(60 + 1)
    asked_for = bench.interlocks.attendance.open_call
    bench.interlocks.attendance.looks = replace(
        bench.interlocks.attendance.looks, number=2
    )  # no second one
    sounds = [bench.tick(lasts_s=0.1).outputs[Output.BUZZER] for _ in range(1000)]

    assert any(sounds[:500])
    assert not any(sounds[700:])
    assert "ended 1 min ago. Look whether anything glows" in asked_for


def test_answers_to_looks_and_looks_that_nobody_answered_are_kept_for_the_record():
    bench = bench_after_the_end()
    bench.run(2 * 60 + 1)
    bench.press_button()

    assert [note.text for note in bench.interlocks.attendance.notes] == [
        "Nobody answered look 1 after the end.",
        "Somebody looked after the end, and answered at the machine (look 2).",
    ]
    assert not bench.interlocks.attendance.looks.is_asking


def test_a_look_blocks_nothing_and_the_next_start_ends_it():
    bench = bench_after_the_end()
    bench.run(60 + 1)
    assert bench.interlocks.attendance.looks.is_asking

    bench.start()
    bench.run(3 * 60)

    assert not bench.interlocks.attendance.looks.is_asking
    assert bench.reaction is Reaction.NOTHING


def test_after_a_start_without_a_beam_nothing_is_to_be_looked_at():
    bench = Bench()
    bench.arm()
    bench.interlocks.begin_run(StartRequest(lasts_s=60, starts_at=NOON), bench.now_s)
    bench.run(1)
    bench.interlocks.end_run()
    bench.tick()

    assert not bench.interlocks.attendance.looks.has_burnt


def lose_the_second_lid_contact(bench):
    bench.run(1)
    bench.open(Input.LID_SECOND)


def lose_the_air(bench):
    bench.start()
    bench.follows_fan = False
    bench.open(Input.AIR_FLOW)


@pytest.mark.parametrize("fail", [lose_the_second_lid_contact, lose_the_air])
def test_a_trip_at_rest_and_a_hold_by_the_box_sound_the_buzzer_for_ten_seconds(fail):
    bench = Bench()
    fail(bench)

    sounds = [bench.tick(lasts_s=0.1).outputs[Output.BUZZER] for _ in range(300)]

    assert sum(sounds) >= 40
    assert not any(sounds[200:])


def test_a_controllers_fault_sounds_the_buzzer_for_half_a_minute():
    bench = Bench()
    bench.start()
    bench.interlocks.note_fault(bench.now_s)
    bench.interlocks.end_run()

    sounds = [bench.tick(lasts_s=0.1).outputs[Output.BUZZER] for _ in range(400)]

    assert sum(sounds) > 100
    assert not any(sounds[301:])


def test_an_answer_to_no_question_is_refused():
    bench = bench_with_rounds()

    with pytest.raises(CommandRefused, match="no watch round"):
        bench.interlocks.answer_round(bench.now_s)


def test_a_box_that_may_only_run_attended_asks_without_being_told_to():
    bench = Bench(Setup(wired=MINIMUM))
    bench.start()

    bench.run(20 * 60 + 1)

    assert bench.interlocks.attendance.rounds.is_asking


def at(hour, minute=0, day=4):
    return datetime(2026, 5, day, hour, minute, tzinfo=UTC)


FIRM_AT_SIX = AttendanceRules(closing_time=time(18, 0))
SOFT_AT_SIX = AttendanceRules(closing_time=time(18, 0), is_closing_time_firm=False)
FIRM_AT_ONE = AttendanceRules(closing_time=time(1, 0))
SOON_LOOKED_AT = AttendanceRules(closing_time=time(18, 0), look_every_min=3)


@pytest.mark.parametrize(
    ("rules", "starts_at", "hours"),
    [
        (AttendanceRules(), at(12), 90), (FIRM_AT_SIX, at(12), 5.5), (FIRM_AT_ONE, at(22), 2.5),
        (FIRM_AT_ONE, at(0, 15, day=5), 0.25), (SOON_LOOKED_AT, at(12), 5.9),
    ],
)  # fmt: skip
def test_a_run_whose_last_look_comes_by_closing_time_may_start(rules, starts_at, hours):
    refuse_past_closing(rules, starts_at=starts_at, lasts_s=hours * 3600, confirmed_by="")


@pytest.mark.parametrize(
    ("rules", "starts_at", "hours"),
    [
        (FIRM_AT_SIX, at(12), 5.6), (FIRM_AT_SIX, at(18, 5), 0.1), (FIRM_AT_SIX, at(2), 0.1),
        (FIRM_AT_ONE, at(22), 2.6),
    ],
)  # fmt: skip
def test_a_run_past_a_firm_closing_time_is_refused_whoever_stays(rules, starts_at, hours):
    with pytest.raises(CommandRefused, match=r"its last look come at \d\d:\d\d, after closing"):
        refuse_past_closing(rules, starts_at=starts_at, lasts_s=hours * 3600, confirmed_by="Ada")


@pytest.mark.parametrize("rules", [FIRM_AT_SIX, SOFT_AT_SIX])
@pytest.mark.parametrize(("hours", "is_late"), [(5.5, False), (5.51, True)])
def test_an_end_that_is_late_for_its_last_look_is_said_however_firm_the_closing(
    rules, hours, is_late
):
    # Two looks, 15 minutes apart: half an hour after the end (AttendanceRules' own figures).
    said = late_end(rules, goes_on_at=at(12), lasts_s=hours * 3600)

    assert (said is not None) is is_late
    assert not is_late or said.startswith("This would end at 17:30 and its last look come at 18:00")


def test_a_soft_closing_time_wants_the_name_of_whoever_stays():
    refuse_past_closing(SOFT_AT_SIX, starts_at=at(17), lasts_s=7200, confirmed_by="Ada")

    with pytest.raises(CommandRefused, match="their name"):
        refuse_past_closing(SOFT_AT_SIX, starts_at=at(17), lasts_s=7200, confirmed_by="  ")


def test_a_long_run_without_a_flame_detector_has_to_be_acknowledged_and_is_recorded():
    bench = Bench(Setup(wired=EVERYTHING - {Input.FLAME}))
    bench.arm()
    wish = StartRequest(lasts_s=3600, starts_at=NOON)
    with pytest.raises(CommandRefused, match="60 minutes and nothing here notices a fire"):
        bench.interlocks.begin_run(wish, bench.now_s)

    acknowledged = StartRequest(lasts_s=3600, starts_at=NOON, has_acknowledged_long_run=True)
    record = bench.interlocks.begin_run(acknowledged, bench.now_s)

    assert "notices a fire" in record["acknowledged"]


def test_the_full_box_lacks_nothing_and_the_minimum_says_everything_it_lacks():
    said = [lack.sentence for lack in wiring_gaps(MINIMUM)]

    assert wiring_gaps(EVERYTHING) == ()
    assert len(said) == len(WIRING_GAPS) - 3  # lid, beam enable and fan are there


@pytest.mark.fault("no flame detector")
@pytest.mark.parametrize(
    "part",
    [Input.LOOP_CLOSED, Output.EXTRACTION, Input.AIR_FLOW, Input.FLAME, Output.HEARTBEAT],
)
def test_unattended_runs_need_loop_extraction_proven_air_flame_detector_and_heartbeat(part):
    assert not is_attended_only(EVERYTHING)
    assert is_attended_only(EVERYTHING - {part})


@pytest.mark.fault("no flame detector")
def test_a_run_without_a_flame_detector_asks_for_somebody_every_twenty_minutes():
    bench = Bench(Setup(wired=EVERYTHING - {Input.FLAME}))
    bench.arm()
    wish = StartRequest(lasts_s=12 * 3600, starts_at=NOON, has_acknowledged_long_run=True)
    bench.interlocks.begin_run(wish, bench.now_s)

    bench.run(19.9 * 60)
    was_asking = bench.interlocks.attendance.rounds.is_asking
    bench.run(0.2 * 60)

    assert not was_asking
    assert bench.interlocks.attendance.rounds.is_asking


def test_a_box_without_lid_or_beam_enable_only_watches():
    assert not is_watch_only(MINIMUM)
    assert is_watch_only(MINIMUM - {Input.LID})
    assert is_watch_only(MINIMUM - {Output.BEAM_ENABLE})


@pytest.mark.parametrize(
    ("rules", "hours", "asked"),
    [
        (AttendanceRules(), 0.4, []),
        (AttendanceRules(), 0.6, ["long_run"]),
        (SOFT_AT_SIX, 8, ["long_run", "stays"]),
        (FIRM_AT_SIX, 8, ["long_run", "stays", "too_late"]),
    ],
)
def test_people_are_asked_only_what_applies_to_the_run(rules, hours, asked):
    wish = StartRequest(lasts_s=hours * 3600, starts_at=NOON)

    found = confirmations_for(wish, rules, wired=())

    assert [name for name, sentence in found.items() if sentence] == asked
