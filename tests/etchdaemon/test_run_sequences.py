"""Holds, stops and resets as sequences: what is ordered, and when they give up."""

import pytest

from etchdaemon.controller.events import AlarmRaised, Greeted, StatusReported
from etchdaemon.controller.firmware import EIGHT_BIT
from etchdaemon.controller.orders import Order
from etchdaemon.run.holding import Arriving, Enabling, HoldingNow
from etchdaemon.run.resetting import Emergency, Resetting
from etchdaemon.run.stopping import Stopping, braking_s

GREETED = Greeted(EIGHT_BIT, "")


def _report(state, substate=None, x_mm=5.0):
    return StatusReported(state=state, substate=substate, machine_mm=(x_mm, 1.0, 0.0))


RUN, IDLE, HELD = _report("Run"), _report("Idle"), _report("Hold", 0)


def _stopping(cuts_first=False):
    stopping = Stopping(cuts_first=cuts_first, timeout_s=0.6)
    return stopping, stopping.begin(0.0)


def test_braking_takes_speed_over_acceleration():
    assert braking_s(feed_mm_per_min=6000, acceleration_mm_per_s2=1000) == pytest.approx(0.1)


def test_a_stop_holds_rests_cuts_drains_resets_and_looks():
    stopping, orders = _stopping()
    assert orders == (Order.FEED_HOLD, Order.REPORT)
    assert stopping.handle_event(_report("Hold", 1), 0.05) == ()
    assert stopping.handle_event(HELD, 0.15) == (Order.CUT_BEAM, Order.DISCARD_OUTPUT)
    assert stopping.tick(0.164) == ()
    assert stopping.tick(0.165) == (Order.DISCARD_OUTPUT, Order.RESET)
    assert stopping.handle_event(GREETED, 0.3) == (Order.REPORT,)

    stopping.handle_event(IDLE, 0.31)

    assert stopping.is_over
    assert stopping.is_position_known


def test_a_stop_for_a_fault_cuts_before_anything_else():
    _, orders = _stopping(cuts_first=True)

    assert orders[0] is Order.CUT_BEAM


def test_one_idle_report_is_not_rest_and_two_are():
    stopping, _ = _stopping()
    assert stopping.handle_event(IDLE, 0.01) == ()
    assert stopping.handle_event(RUN, 0.02) == ()
    assert stopping.handle_event(IDLE, 0.03) == ()

    assert Order.CUT_BEAM in stopping.handle_event(IDLE, 0.04)


def test_a_machine_that_does_not_rest_in_time_is_an_emergency():
    stopping, _ = _stopping()
    stopping.handle_event(RUN, 0.5)
    stopping.tick(0.59)
    assert not stopping.is_over

    stopping.tick(0.6)

    assert stopping.has_failed


def _at_the_look():
    stopping, _ = _stopping()
    stopping.handle_event(HELD, 0.1)
    stopping.tick(0.2)
    stopping.handle_event(GREETED, 0.3)
    return stopping


@pytest.mark.parametrize(
    ("report", "is_known"),
    [
        (_report("Idle", x_mm=5.02), True),
        (_report("Idle", x_mm=5.021), False),
        (_report("Alarm"), False),
        (_report("Door", 1), True),
        (StatusReported(state="Idle"), False),
    ],
)
def test_the_place_is_known_when_the_head_is_where_it_came_to_rest(report, is_known):
    stopping = _at_the_look()

    stopping.handle_event(report, 0.4)

    assert stopping.is_over
    assert stopping.is_position_known is is_known


def test_a_controller_that_greets_only_at_the_second_byte_may_have_lost_its_place():
    stopping, _ = _stopping()
    stopping.handle_event(HELD, 0.1)
    stopping.tick(0.2)
    assert stopping.tick(1.2) == (Order.RESET,)
    stopping.handle_event(GREETED, 1.4)

    stopping.handle_event(_report("Idle"), 1.5)

    assert stopping.is_over
    assert not stopping.is_position_known


def test_a_hold_at_once_takes_one_idle_report_for_nothing():
    holding = HoldingNow(timeout_s=0.6)
    holding.begin(0.0)

    assert holding.handle_event(IDLE, 0.01) == ()
    assert not holding.is_over
    assert holding.handle_event(IDLE, 0.11) == (Order.CUT_BEAM,)


def test_a_look_that_is_not_answered_is_an_emergency():
    stopping = _at_the_look()

    stopping.tick(1.4)

    assert stopping.has_failed


def test_an_alarm_while_braking_leads_to_the_reset_with_the_place_unknown():
    stopping, _ = _stopping()

    assert Order.DISCARD_OUTPUT in stopping.handle_event(AlarmRaised(1), 0.05)
    stopping.tick(0.1)
    stopping.handle_event(GREETED, 0.2)
    stopping.handle_event(IDLE, 0.3)

    assert not stopping.is_position_known


def test_a_controller_that_restarts_while_braking_has_lost_its_place():
    stopping, _ = _stopping()

    orders = stopping.handle_event(GREETED, 0.05)

    assert orders == (Order.CUT_BEAM, Order.DISCARD_OUTPUT)
    assert stopping.is_over
    assert not stopping.is_position_known


def test_a_stop_asks_ten_times_a_second_while_it_brakes_and_never_while_it_resets():
    stopping, _ = _stopping()
    assert stopping.polls_every_s == 0.1
    stopping.handle_event(HELD, 0.1)

    stopping.tick(0.2)

    assert stopping.polls_every_s is None


def test_an_emergency_cuts_empties_the_port_and_sends_the_reset_alone():
    assert Emergency().begin(0.0) == (Order.CUT_BEAM, Order.DISCARD_OUTPUT, Order.RESET)


def test_a_reset_is_repeated_once_after_a_second_and_given_up_after_three():
    resetting = Resetting()
    resetting.begin(0.0)

    orders = [order for tenth in range(40) for order in resetting.tick(tenth / 10)]

    assert orders == [Order.RESET]
    assert resetting.has_answered is False


def test_a_greeting_just_in_time_counts():
    resetting = Resetting()
    resetting.begin(0.0)
    resetting.tick(2.9)

    resetting.handle_event(GREETED, 2.99)
    resetting.tick(3.5)

    assert resetting.has_answered is True


@pytest.mark.parametrize(("apart_s", "is_over"), [(0.14, False), (0.151, True)])
def test_the_head_has_arrived_when_two_idle_reports_agree(apart_s, is_over):
    arriving = Arriving()
    arriving.handle_event(IDLE, 1.0)

    arriving.handle_event(IDLE, 1.0 + apart_s)

    assert arriving.is_over is is_over


def test_motion_between_two_idle_reports_is_no_arrival():
    arriving = Arriving()
    arriving.handle_event(IDLE, 1.0)
    arriving.handle_event(RUN, 1.1)

    arriving.handle_event(IDLE, 1.3)

    assert not arriving.is_over


def test_a_hold_at_once_cuts_at_rest_and_not_before():
    holding = HoldingNow(0.6)
    assert holding.begin(0.0) == (Order.FEED_HOLD, Order.REPORT)
    assert holding.handle_event(_report("Hold", 1), 0.05) == ()

    assert holding.handle_event(HELD, 0.15) == (Order.CUT_BEAM,)
    assert holding.is_over


def test_a_hold_at_once_that_finds_no_rest_fails():
    holding = HoldingNow(0.6)
    holding.begin(0.0)
    holding.handle_event(RUN, 0.3)

    holding.tick(0.6)

    assert holding.has_failed


def test_the_beam_settles_before_lines_are_fed():
    settled = []
    enabling = Enabling(lambda: bool(settled))
    assert enabling.begin(0.0) == (Order.ALLOW_BEAM,)
    enabling.tick(10.0)
    assert not enabling.is_over

    settled.append("the contact")
    enabling.tick(10.1)

    assert enabling.has_succeeded


def test_out_of_a_hold_the_cycle_starts_after_settling_and_motion_is_expected():
    enabling = Enabling(lambda: True, starts_cycle=True)
    enabling.begin(0.0)
    enabling.handle_event(HELD, 0.01)
    assert enabling.tick(0.05) == (Order.CYCLE_START, Order.REPORT)
    enabling.handle_event(HELD, 0.06)
    assert not enabling.is_over

    enabling.handle_event(RUN, 0.2)

    assert enabling.has_succeeded


def test_no_motion_within_half_a_second_is_a_failure():
    enabling = Enabling(lambda: True, starts_cycle=True)
    enabling.begin(0.0)
    enabling.tick(0.05)
    enabling.handle_event(HELD, 0.5)

    enabling.tick(0.55)

    assert enabling.has_failed
