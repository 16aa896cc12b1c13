"""A move with the beam off, step by step: what is sent when, and when it counts as over."""

import pytest

from etchdaemon.controller.events import AlarmRaised, Greeted, LineRefused, StatusReported
from etchdaemon.controller.firmware import EIGHT_BIT
from etchdaemon.controller.orders import NOTHING, Order, SendLine
from etchdaemon.controller.parsing import ACCEPTED
from etchdaemon.run.moving import BEAM_OFF, ELSEWHERE, STOPPED, Moving, jog, way_mm

CORNERS = ((10.0, 0.0), (10.0, 5.0))
REST = StatusReported(state="Idle", work_mm=(10.0, 5.0, 0.0))


@pytest.fixture
def moving():
    made = Moving(places_mm=CORNERS, feed_mm_per_min=3000.0, firmware=EIGHT_BIT, from_mm=(0.0, 0.0))
    assert made.begin(0.0) == (SendLine(BEAM_OFF),)
    return made


def queue(moving):
    """Let the controller take every line."""
    return [moving.handle_event(ACCEPTED, 0.1) for _ in range(len(CORNERS) + 1)]


def test_one_line_after_another_is_sent_and_the_beams_word_before_all(moving):
    assert queue(moving) == [
        (SendLine(jog(CORNERS[0], 3000)),),
        (SendLine(jog(CORNERS[1], 3000)),),
        NOTHING,
    ]


def test_a_report_of_rest_from_before_the_motion_is_not_its_end(moving):
    queue(moving)

    moving.handle_event(REST, 0.2)
    assert not moving.is_over

    moving.handle_event(REST, 0.3)
    assert moving.is_over
    assert moving.failure is None


def test_a_report_of_motion_between_two_of_rest_begins_the_count_anew(moving):
    queue(moving)

    for state in ("Idle", "Jog", "Idle"):
        moving.handle_event(StatusReported(state=state, work_mm=(10.0, 5.0)), 0.2)

    assert not moving.is_over


def test_rest_somewhere_else_is_told(moving):
    queue(moving)
    short = StatusReported(state="Idle", work_mm=(10.0, 4.9))

    moving.handle_event(short, 0.2)
    moving.handle_event(short, 0.3)

    assert ELSEWHERE in moving.failure


def test_a_stop_cancels_once_and_sends_nothing_more(moving):
    moving.handle_event(ACCEPTED, 0.1)

    assert moving.stop(STOPPED, 0.2) == (Order.JOG_CANCEL, Order.REPORT)
    assert moving.stop(STOPPED, 0.3) == NOTHING
    assert moving.handle_event(ACCEPTED, 0.3) == NOTHING
    assert not moving.is_over


def test_a_jog_that_began_behind_the_stop_is_cancelled_as_well(moving):
    queue(moving)
    moving.stop(STOPPED, 0.2)

    jogging = StatusReported(state="Jog", work_mm=(4.0, 0.0))

    assert moving.handle_event(jogging, 0.3) == (Order.JOG_CANCEL,)


def test_a_refused_line_brings_the_head_to_rest_before_it_is_told(moving):
    moving.handle_event(ACCEPTED, 0.1)

    assert moving.handle_event(LineRefused(15, "$J"), 0.2) == (Order.JOG_CANCEL, Order.REPORT)
    assert not moving.is_over
    moving.handle_event(REST, 0.3)
    moving.handle_event(REST, 0.4)
    assert moving.is_over
    assert moving.failure


@pytest.mark.parametrize("event", [AlarmRaised(1), Greeted(EIGHT_BIT, "Grbl 1.1h")])
def test_an_alarm_or_a_restart_ends_the_move(moving, event):
    moving.handle_event(event, 0.1)

    assert moving.is_over
    assert moving.failure


def test_a_move_that_never_ends_is_stopped_and_then_given_up(moving):
    queue(moving)

    assert moving.tick(5.0) == NOTHING
    assert moving.tick(6.0) == (Order.JOG_CANCEL, Order.REPORT)
    assert moving.tick(8.9) == NOTHING
    assert not moving.is_over
    moving.tick(9.0)
    assert moving.is_over
    assert "did not answer" in moving.failure


def test_a_place_is_written_without_an_exponent_or_a_minus_before_nought():
    assert jog((-0.0001, 1e-9), 3000.0) == b"$J=G90G21X0.000Y0.000F3000"
    assert jog((-12.3456, 400), 2999.9) == b"$J=G90G21X-12.346Y400.000F3000"


def test_the_way_is_the_sum_of_its_stretches():
    assert way_mm(((0, 0), (3, 4), (3, 10))) == pytest.approx(11.0)
    assert way_mm(((1, 1),)) == 0
