"""What puts the beam out, and keeps lines back, each with the layers beside it taken away."""

import numpy as np
import pytest

from etchdaemon.controller.orders import Order
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run import faults
from rig.bench import Rig
from rig.guarded import LOOKS_EVERY_S

FEED_HOLD, RESET = b"!", b"\x18"
SOLID = np.ones((12, 400), dtype=bool)  # a line a row: much is under way at any time


class DeafMachine(Machine):
    """Carries out every order of a sequence but those to put the beam out."""

    def carry_out(self, orders, now_s):
        super().carry_out([order for order in orders if order is not Order.CUT_BEAM], now_s)


class DeafRig(Rig):
    """Nothing but the ways of ending themselves puts the beam out here."""

    def make_machine(self):
        return DeafMachine(open_port=self.port, beam=self.guard, port_name="practice")


@pytest.fixture
def deaf(tmp_path):
    with DeafRig(tmp_path) as made:
        yield made


def no_line_was_sent(rig):
    return b"X" not in rig.port.written and b"M4" not in rig.port.written


def stand_still(rig, seconds):
    """Let the guard look and the machine move, but not the loop."""
    for _ in range(round(seconds / LOOKS_EVERY_S)):
        rig.guard.monitor.look()
        rig.machine.advance(LOOKS_EVERY_S)


def test_no_line_of_a_start_is_fed_while_the_contact_has_not_closed(guarded):
    guarded.set_origin()
    guarded.load(guarded.make_job(SOLID))
    guarded.arm()
    guarded.port.written.clear()

    guarded.submit("start")
    guarded.board.hang_reading(is_hanging=True)  # and who never looks closes no contact
    guarded.wait_until(lambda: guarded.state == "stopping", within_s=1.0)

    assert no_line_was_sent(guarded)
    assert guarded.record.event("fault")["text"] == faults.NO_BEAM


@pytest.mark.slow
def test_no_line_of_a_resume_is_fed_while_the_contact_has_not_closed(guarded):
    guarded.start(guarded.make_job(SOLID))
    guarded.etch_until_row(3)
    guarded.ask("hold")
    guarded.wait_until(lambda: guarded.state == "held")
    guarded.press_button()
    guarded.port.written.clear()

    guarded.submit("resume")
    guarded.board.hang_reading(is_hanging=True)
    guarded.wait_until(lambda: guarded.state == "stopping", within_s=1.0)

    assert no_line_was_sent(guarded)
    assert guarded.record.event("fault")["text"] == faults.NO_BEAM


@pytest.mark.slow
def test_at_the_end_of_a_row_that_is_held_the_contact_opens(guarded):
    guarded.start(guarded.make_job(SOLID))
    guarded.etch_until_row(3)
    guarded.ask("hold")
    guarded.wait_until(lambda: guarded.state == "held")
    guarded.step(5)

    assert not guarded.is_beam_enabled


@pytest.mark.slow
def test_an_emergency_resets_at_once_and_waits_for_no_rest(guarded):
    guarded.start(guarded.make_job(SOLID))
    guarded.etch_until_row(3)
    guarded.port.written.clear()

    guarded.board.set_input("stop_circuit", level=False)
    guarded.wait(5 * LOOKS_EVERY_S)

    assert RESET in guarded.port.written
    assert FEED_HOLD not in guarded.port.written


def test_a_head_that_does_not_brake_is_reset_and_its_place_is_lost(rig):
    rig.start(rig.make_job(SOLID))
    rig.etch_until_row(3)
    rig.port.damage = (FEED_HOLD, b"")  # lost on the cable
    rig.port.written.clear()

    rig.ask("stop")
    rig.wait_for_the_end()

    assert RESET in rig.port.written
    assert rig.run.ended == "failed"
    assert faults.NOT_AT_REST in [event["text"] for event in rig.record.events]
    assert not rig.commands.snapshot().machine.origin.is_known


def test_after_a_greeting_nobody_asked_for_nothing_that_the_port_still_holds_is_sent(rig):
    rig.start(rig.make_job(SOLID))
    rig.etch_until_row(3)
    before = rig.port.discards

    rig.machine.reset_now()
    rig.wait_for_the_end(within_s=1.0)

    assert rig.port.discards == before + 1


def test_a_fault_puts_the_beam_out_by_itself_whatever_sequence_follows(deaf):
    deaf.start(deaf.make_job(SOLID))
    deaf.etch_until_row(3)

    deaf.machine.extra_reply()
    deaf.machine.extra_reply()
    deaf.wait_until(lambda: deaf.state == "stopping", within_s=2.0)

    assert not deaf.contact.is_closed


@pytest.mark.slow
def test_the_cut_is_told_in_its_own_row_though_the_head_rests_in_a_later_one(guarded):
    guarded.start(guarded.make_job(SOLID))
    guarded.wait_until(lambda: guarded.run.row == 4 and guarded.machine.head_mm[0] > 32.0)

    guarded.board.open_lid()
    stand_still(guarded, 0.6)  # the guard cuts at once; the loop finds out when the row is over
    guarded.wait_for_the_end()

    cut = guarded.record.event("cut")["details"]
    rows = {cut["row"], *(other["row"] for other in cut.get("others", ()))}
    assert rows == {4}
    assert abs(cut["rest_y_mm"] - 0.1 * 4) > 0.05  # it rests elsewhere


# Here no guard cuts at the end of a run: what is left are the service's own cuts.


def test_the_end_of_a_run_opens_the_contact_without_the_guards_help(rig):
    rig.start()
    rig.wait_for_the_end()

    assert not rig.contact.is_closed


def test_a_stop_in_constant_power_cuts_before_the_head_brakes(rig):
    rig.preflight.find("constant power", "acknowledge")
    rig.set_origin()
    rig.load(rig.make_job(SOLID))
    rig.ask("start", acknowledge=["constant power"])
    rig.etch_until_row(3)

    rig.ask("stop")

    assert rig.state == "stopping"
    assert not rig.contact.is_closed


def test_a_daemon_that_has_to_end_while_a_stop_brakes_cuts_at_once(rig):
    rig.start(rig.make_job(SOLID))
    rig.etch_until_row(3)
    rig.ask("stop")
    assert rig.contact.is_closed  # till the head rests, so that its row is burnt as far as it goes

    rig.service.wind_down()

    assert not rig.contact.is_closed


def test_a_port_that_is_lost_in_mid_run_opens_the_contact(rig):
    rig.start(rig.make_job(SOLID))
    rig.etch_until_row(3)

    rig.machine.unplug()
    rig.wait_for_the_end(within_s=0.5)

    assert not rig.contact.is_closed


def test_a_controller_that_restarts_in_mid_run_finds_the_contact_open(rig):
    rig.start(rig.make_job(SOLID))
    rig.etch_until_row(3)

    rig.machine.reset_now()
    rig.wait_for_the_end(within_s=1.0)

    assert not rig.contact.is_closed


def test_whoever_begins_to_steer_opens_the_contact_first(tmp_path):
    class LeftClosed(Rig):
        def make_guard(self):
            self.contact.allow()
            return super().make_guard()

    with LeftClosed(tmp_path) as rig:
        assert not rig.contact.is_closed
