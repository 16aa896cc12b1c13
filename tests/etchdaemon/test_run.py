"""The life of an etch, its place in the picture, what was really run, and whether it was right."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchdaemon.controller.events import StatusReported
from etchdaemon.errors import CommandRefused
from etchdaemon.run import audit
from etchdaemon.run.actuals import Meter
from etchdaemon.run.loop_stalls import LoopStalls
from etchdaemon.run.progress import Progress
from etchdaemon.run.reply_timeouts import ReplyTimeouts
from etchdaemon.run.starvation import Cause, Starvation, Supply
from etchdaemon.run.states import (
    NEXT_STATE,
    UNDER_WAY,
    Command,
    RunOccurrence,
    RunStateMachine,
    State,
    next_state,
)
from support.samples.sheets import sheet_of


def _running(feed, power, **more):
    return StatusReported(state="Run", feed_mm_per_min=feed, power_setting=power, **more)


# States


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("wish", Command)
def test_every_wish_in_every_state_is_in_the_table_or_refused_with_a_sentence(state, wish):
    if (state, wish) in NEXT_STATE:
        assert isinstance(next_state(state, wish), State)
    else:
        with pytest.raises(CommandRefused, match=r"\.$"):
            next_state(state, wish)


def test_a_refused_wish_changes_nothing():
    run_state = RunStateMachine()

    with pytest.raises(CommandRefused):
        run_state.turn(Command.RESUME)

    assert run_state.state is State.STARTING


@pytest.mark.parametrize("state", UNDER_WAY)
def test_a_run_under_way_can_always_be_stopped_and_can_always_end(state):
    assert next_state(state, Command.STOP) is State.STOPPING
    assert next_state(state, RunOccurrence.RUN_ENDED) is State.ENDED
    assert next_state(state, RunOccurrence.FAULT_FOUND) is State.STOPPING


def test_only_confirmed_rest_leads_to_held():
    ways = [input_ for (_, input_), state in NEXT_STATE.items() if state is State.HELD]

    assert set(ways) == {RunOccurrence.CAME_TO_REST}


# Progress


def test_no_row_is_in_work_before_the_head_is_in_one():
    progress = Progress(sheet_of())

    assert progress.note_place(0.0, 30.0, last_line_sent=5) == ()
    assert (progress.entry, progress.etched_rows) == (None, 0)


def test_the_row_in_work_follows_the_head_and_finished_rows_are_told_once():
    sheet = sheet_of()
    progress = Progress(sheet)
    progress.note_place(3.0, sheet.index[0].y_mm, last_line_sent=4)

    finished = progress.note_place(3.0, sheet.index[3].y_mm, last_line_sent=8)

    assert [entry.row for entry in finished] == [0, 1, 2]
    assert progress.note_place(4.0, sheet.index[3].y_mm, last_line_sent=8) == ()
    assert progress.etched_rows == 3


def test_a_row_of_which_no_line_was_sent_is_not_in_work():
    sheet = sheet_of()
    progress = Progress(sheet)

    progress.note_place(3.0, sheet.index[3].y_mm, last_line_sent=4)

    assert progress.entry is None


def test_a_head_on_its_way_to_the_next_row_is_in_the_old_one_until_it_is_nearer():
    sheet = sheet_of()
    progress = Progress(sheet)
    progress.note_place(3.0, sheet.index[0].y_mm, last_line_sent=5)

    progress.note_place(3.0, sheet.index[0].y_mm - 0.049, last_line_sent=5)

    assert progress.entry.row == 0


@given(st.lists(st.tuples(st.floats(-5, 25), st.floats(-1, 3), st.integers(0, 30)), max_size=40))
def test_rows_finish_in_order_and_once_wherever_the_head_is_said_to_be(places):
    sheet = sheet_of()
    progress = Progress(sheet)
    told = [
        entry.row
        for x_mm, y_mm, line in places
        for entry in progress.note_place(x_mm, y_mm, last_line_sent=line)
    ]

    told += [entry.row for entry in progress.complete()]

    assert told == list(range(20))


@pytest.mark.parametrize(
    ("line", "end"), [(1, 3), (3, 3), (4, 4), (10, 10), (23, 23), (24, 27), (27, 27)]
)
def test_feeding_may_stop_at_the_end_of_the_row_that_holds_a_line(line, end):
    sheet = sheet_of()  # rows of one line each, lines 4 to 23, then the end

    assert Progress(sheet).end_of_row(line) == min(end, sheet.gcode_lines)


def test_a_head_outside_the_job_is_astray():
    progress = Progress(sheet_of())

    assert not progress.is_astray(20.9, 1.0, last_line_sent=1)
    assert progress.is_astray(21.1, 1.0, last_line_sent=1)
    assert progress.is_astray(5.0, -1.1, last_line_sent=1)


def test_a_head_in_a_row_that_is_done_or_not_yet_sent_is_astray():
    sheet = sheet_of()
    rows = sheet.index
    progress = Progress(sheet)
    progress.note_place(5.0, rows[5].y_mm, last_line_sent=rows[7].line)

    def is_astray(row, x_mm=5.0):
        return progress.is_astray(x_mm, rows[row].y_mm, last_line_sent=rows[7].line)

    assert [is_astray(row) for row in (3, 4, 5, 6, 7, 8)] == [True, *[False] * 4, True]
    assert is_astray(6, max(rows[6].from_mm, rows[6].to_mm) + 0.06)
    assert not progress.is_astray(5.0, rows[0].y_mm, last_line_sent=sheet.end_line)


@given(
    ends_mm=st.lists(st.tuples(st.floats(0, 9), st.floats(11, 20)), min_size=20, max_size=20),
    looks=st.lists(
        st.tuples(st.just(0) | st.integers(1, 38), st.floats(0, 1), st.integers(0, 12)),
        min_size=1,
        max_size=60,
    ),
    start_mm=st.tuples(st.floats(0, 20), st.floats(-3, 3)),  # often across the rows
)
def test_a_head_that_goes_the_way_of_its_rows_is_never_astray(ends_mm, looks, start_mm):
    plain = sheet_of()
    rows = tuple(
        replace(entry, from_mm=ends[entry.row % 2], to_mm=ends[1 - entry.row % 2])
        for entry, ends in zip(plain.index, ends_mm, strict=True)
    )
    way = [start_mm, *((x_mm, row.y_mm) for row in rows for x_mm in (row.from_mm, row.to_mm))]
    progress = Progress(replace(plain, index=rows), start_mm=start_mm)

    for place, share, rows_ahead in sorted(looks):
        (from_x, from_y), (to_x, to_y) = way[place : place + 2]
        head = from_x + share * (to_x - from_x), from_y + share * (to_y - from_y)
        last_line_sent = rows[min(place // 2 + rows_ahead, 19)].line
        progress.note_place(*head, last_line_sent=last_line_sent)
        assert 2 * progress.current <= place + 1, "in a row that it has yet to reach"
        if progress.entry is not None:
            assert not progress.is_astray(*head, last_line_sent=last_line_sent)


def test_the_way_to_the_first_row_leads_across_others_that_are_not_in_work_yet():
    sheet = sheet_of()
    progress = Progress(sheet, start_mm=(sheet.index[0].from_mm, -5.0))

    progress.note_place(
        sheet.index[0].from_mm, sheet.index[9].y_mm, last_line_sent=sheet.index[12].line
    )

    assert progress.entry is None


def test_predicted_time_runs_on_within_a_row():
    sheet = sheet_of()
    progress = Progress(sheet)

    progress.note_place(10.0, sheet.index[2].y_mm, last_line_sent=6)

    assert progress.predicted_s == pytest.approx(0.8 + 0.2)


# Actuals


def test_means_are_weighted_by_time():
    meter = Meter(max_s=1000, recipe_feed_mm_per_min=4000)
    meter.note_report(_running(1000, 0), 10.0)
    meter.note_report(_running(4000, 600), 10.1)
    meter.note_report(_running(2000, 300), 10.4)

    row = meter.finish_row(7, at_s=1.0)

    assert row.feed_mean_mm_per_min == pytest.approx((4000 * 0.1 + 2000 * 0.3) / 0.4)
    assert row.power_mean_ratio == pytest.approx((0.6 * 0.1 + 0.3 * 0.3) / 0.4)
    assert (row.feed_min_mm_per_min, row.feed_max_mm_per_min) == (2000, 4000)
    assert (row.row, row.samples, row.is_estimated) == (7, 2, True)


@pytest.mark.parametrize("report", [
    _running(4000, 0),
    StatusReported(state="Hold", substate=0, feed_mm_per_min=2000, power_setting=600),
    StatusReported(state="Run", power_setting=600),
])  # fmt: skip
def test_nothing_is_measured_while_the_beam_is_off_or_the_head_at_rest(report):
    """The 32-bit firmware shows a stale feed in a hold: measured on a host build."""
    meter = Meter(max_s=1000, recipe_feed_mm_per_min=4000)

    meter.note_report(report, 1.0)

    assert meter.finish_row(0, at_s=0.0).samples == 0


@pytest.mark.parametrize(("samples", "is_estimated"), [(4, True), (5, False)])
def test_fewer_than_five_samples_are_an_estimate(samples, is_estimated):
    meter = Meter(max_s=1000, recipe_feed_mm_per_min=4000)
    for number in range(samples):
        meter.note_report(_running(4000, 600), number * 0.2)

    assert meter.finish_row(0, at_s=0.0).is_estimated is is_estimated


@pytest.mark.parametrize(("feed", "slow_rows"), [(3800, 0), (3799, 1)])
def test_a_row_counts_as_slow_below_95_percent_of_the_recipe(feed, slow_rows):
    meter = Meter(max_s=1000, recipe_feed_mm_per_min=4000)
    meter.note_report(_running(feed, 600), 0.0)

    meter.finish_row(0, at_s=0.0)

    assert meter.slow_rows == slow_rows


def test_a_sample_after_a_pause_does_not_speak_for_the_pause():
    meter = Meter(max_s=1000, recipe_feed_mm_per_min=4000)
    meter.note_report(_running(4000, 600), 0.0)
    meter.note_report(_running(1000, 150), 100.0)

    assert meter.finish_row(0, at_s=0.0).feed_mean_mm_per_min > 1800


# Pauses


@pytest.mark.parametrize(
    ("pause_s", "opened_s_ago", "cut_late_s", "was_long"),
    [
        (0.004, None, 0.004, False),
        (0.04, 0.01, 0.01, False),
        (0.06, 0.01, 0.06, False),
        (1.1, None, 1.1, True),
    ],
    ids=["the guard since the last look", "a contact", "or the heartbeat", "told of"],
)
def test_a_pause_leaves_open_when_the_beam_went_out(pause_s, opened_s_ago, cut_late_s, was_long):
    stalls = LoopStalls(0.0)

    opened_at_s = None if opened_s_ago is None else pause_s - opened_s_ago
    stalls.look(pause_s, opened_at_s=opened_at_s)

    assert stalls.cut_late_s == pytest.approx(cut_late_s)
    assert stalls.was_long is was_long


# Audit


def test_a_run_with_every_line_answered_and_the_head_in_place_passes():
    assert audit.objections(
        lines_sent=10, lines_accepted=10, place_mm=(0.01, 0.0, 0.0), planned_mm=(0.0, 0.0)
    ) == ()  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"lines_accepted": 9}, "9 answered"),
        ({"lines_accepted": 11}, "11 answered"),
        ({"place_mm": None}, "did not say"),
        ({"place_mm": (0.03, 0.0)}, "x 0.03"),
    ],
)
def test_a_run_with_anything_amiss_does_not(changes, word):
    seen = {"lines_sent": 10, "lines_accepted": 10, "place_mm": (0.0, 0.0), "planned_mm": (0, 0)}

    assert word in audit.objections(**seen | changes)[0]


# Patience

LINE = b"X.1S600\n"


def test_five_requests_without_an_answer_are_silence_and_four_are_not():
    patience = ReplyTimeouts()
    for _ in range(4):
        patience.note_request()
    assert not patience.is_silent

    patience.note_request()

    assert patience.is_silent


def test_a_report_ends_the_silence():
    patience = ReplyTimeouts(unanswered_requests=5)

    patience.reported(_running(0, 0), oldest_line=LINE, now_s=0.0)

    assert not patience.is_silent


def test_a_dwell_is_given_its_time_and_no_more():
    """During a dwell both firmwares say Idle: measured on host builds."""
    patience = ReplyTimeouts()
    patience.reported(IDLE, oldest_line=b"G4P3\n", now_s=5.0)
    patience.reported(IDLE, oldest_line=b"G4P3\n", now_s=8.9)
    assert not patience.has_lost_a_reply

    patience.reported(IDLE, oldest_line=b"G4P3\n", now_s=9.0)

    assert patience.has_lost_a_reply


IDLE = StatusReported(state="Idle")


@pytest.mark.parametrize(("apart_s", "has_lost"), [(0.99, False), (1.0, True)])
def test_a_reply_is_lost_when_two_idle_reports_a_second_apart_see_lines_unanswered(
    apart_s, has_lost
):
    patience = ReplyTimeouts()
    patience.reported(IDLE, oldest_line=LINE, now_s=5.0)

    patience.reported(IDLE, oldest_line=LINE, now_s=5.0 + apart_s)

    assert patience.has_lost_a_reply is has_lost


@pytest.mark.parametrize("between", ["a reply", "motion", "nothing in flight"])
def test_anything_that_moves_between_two_idle_reports_clears_the_suspicion(between):
    patience = ReplyTimeouts()
    patience.reported(IDLE, oldest_line=LINE, now_s=5.0)
    if between == "a reply":
        patience.replied()
    elif between == "motion":
        patience.reported(_running(0, 0), oldest_line=LINE, now_s=5.5)
    else:
        patience.reported(IDLE, oldest_line=b"", now_s=5.5)

    patience.reported(IDLE, oldest_line=LINE, now_s=6.0)

    assert not patience.has_lost_a_reply


# Starvation

LATE = Supply(was_late=True, in_flight_bytes=120, held_bytes=0)


@pytest.mark.parametrize(
    ("blocks", "free", "starved"), [(15, 3, 0), (15, 4, 1), (100, 20, 0), (100, 21, 1)]
)
def test_a_planner_with_more_than_a_fifth_free_in_mid_row_is_starving(blocks, free, starved):
    starvation = Starvation(blocks)

    starvation.note_report(
        _running(4000, 600, planner_free_blocks=free), LATE, elapsed_s=10.0, is_fed=False
    )

    assert starvation.reports[Cause.COMPUTER] == starved


@pytest.mark.parametrize(
    ("supply", "cause"),
    [
        (Supply(True, 120, 120), Cause.COMPUTER),
        (Supply(False, 120, 20), Cause.CABLE),
        (Supply(False, 120, 110), Cause.CONTROLLER),
        (Supply(False, 120, None), Cause.CONTROLLER),
    ],
)
def test_who_holds_the_lines_is_who_keeps_the_planner_short(supply, cause):
    starvation = Starvation(15)

    starvation.note_report(
        _running(2200, 600, planner_free_blocks=8), supply, elapsed_s=10.0, is_fed=False
    )

    assert [found for found, reports in starvation.reports.items() if reports] == [cause]
    assert starvation.slowed_feed_mm_per_min == (2200 if cause is Cause.CONTROLLER else None)


@pytest.mark.parametrize(("elapsed_s", "is_fed"), [(0.9, False), (10.0, True)])
def test_an_empty_planner_is_right_just_after_the_start_and_with_nothing_left(elapsed_s, is_fed):
    starvation = Starvation(15)

    starvation.note_report(
        _running(4000, 600, planner_free_blocks=15), LATE, elapsed_s=elapsed_s, is_fed=is_fed
    )

    assert not any(starvation.reports.values())
