"""The safety relay (K1) at an etch's end: tested where it costs nothing, and never elsewhere."""

import re
from dataclasses import replace

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.checks.safety_relay import CANNOT, FAILED, PRESS_THEN_ARM
from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.limits import FAN_RUNS_ON_AFTER_S, HEARTBEAT_OPENS_WITHIN_S
from etchpractice.box.board import HEARTBEAT_CONTACT, SAFETY_RELAY
from rig.bench import STEP_S, dashes
from rig.guarded import GuardedRig
from support.harnesses.interlock_bench import ANSWERS

pytestmark = pytest.mark.slow

STILL_S = 0.1  # longer than two looks of the guard: a heartbeat that stands still


class Watched(GuardedRig):
    """Notes at every step what the beam's contact, the heartbeat and the loop were."""

    def __init__(self, folder):
        self.seen = []
        self.presses = 0
        super().__init__(folder)

    def step(self, times=1):
        for _ in range(times):
            super().step()
            outputs = self.board.outputs
            loop = self.board.inputs()["loop_closed"]
            self.seen.append((outputs["beam_enable"], outputs["heartbeat"], loop))

    def press_button(self):
        self.presses += 1
        super().press_button()

    def etch(self):
        self.seen.clear()
        self.ask("start")
        self.wait_for_the_end()
        self.wait(0.2)

    def arm_after_a_failed_test(self):
        """Arm with two presses: the test at arming drops the relay that the first one sets."""
        self.press_button()
        self.ask("arm", answers=ANSWERS, test_heartbeat=False)
        self.wait_until(lambda: self.box.arming.step == "waiting for somebody at the machine")
        self.press_button()
        self.wait_until(lambda: "start" in self.may)

    @property
    def still_s(self):
        """For how long the heartbeat stood still at the longest, with the beam's contact closed."""
        longest = lasts = 0
        last = None
        for is_enabled, beat, _ in self.seen:
            lasts = lasts + 1 if is_enabled and beat is last else 0
            last, longest = beat, max(longest, lasts)
        return longest * STEP_S

    @property
    def relay(self):
        return next(one for one in self.box.seen_to_open if one.name == "safety_relay")


@pytest.fixture
def rig(tmp_path):
    with Watched(tmp_path) as made:
        made.set_origin()
        made.load()
        made.arm()
        yield made


def test_after_a_complete_etch_the_loop_opens_by_the_heartbeat_before_the_beams_contact(rig):
    rig.port.written.clear()
    rig.etch()

    assert rig.run.ended == "complete"
    assert (True, True, False) in rig.seen or (True, False, False) in rig.seen
    assert not rig.is_beam_enabled
    assert rig.tripped == []
    assert not rig.relay.is_due
    assert rig.relay.day == rig.clock.utc_now()[:10]
    assert bytes(rig.port.written).rpartition(b"M5\n")[2].replace(b"?", b"").startswith(b"$G\n")


def test_the_box_says_to_press_the_button_and_then_to_arm(rig):
    rig.etch()

    assert PRESS_THEN_ARM in rig.box.request
    assert "arm" not in rig.may
    with pytest.raises(CommandRefused, match=re.escape(PRESS_THEN_ARM)):
        rig.ask("arm", answers=ANSWERS, test_heartbeat=False)
    with pytest.raises(CommandRefused, match=re.escape(PRESS_THEN_ARM)):
        rig.ask("start")
    rig.press_button()
    assert rig.box.request is None
    assert "arm" in rig.may


def test_two_tiles_in_a_row_cost_one_press_each(rig):
    rig.etch()
    rig.arm()
    rig.etch()

    assert rig.run.ended == "complete"
    assert len(rig.records.runs) == rig.presses == 2


def test_the_lamp_asks_for_the_button_by_short_flashes(rig):
    rig.etch()
    lit = []
    for _ in range(round(8 / STEP_S)):
        rig.step()
        lit.append(rig.board.outputs["lamp"])

    assert 0.05 < sum(lit) / len(lit) < 0.2
    rig.press_button()
    rig.wait(0.5)
    assert not rig.board.outputs["lamp"]


@pytest.mark.fault("safety relay or heartbeat contact welded")
@pytest.mark.parametrize("name", [SAFETY_RELAY, HEARTBEAT_CONTACT])
def test_a_welded_contact_is_found_after_the_etch_and_nothing_starts_until_a_test_passes(rig, name):
    rig.board.weld(name)
    rig.etch()

    assert rig.run.ended == "complete"
    assert FAILED in rig.run.because
    assert FAILED in rig.record.event("warning")["text"]
    assert rig.relay.is_due
    assert not rig.is_beam_enabled

    rig.press_button()
    rig.ask("arm", answers=ANSWERS, test_heartbeat=False)
    rig.wait_until(lambda: rig.box.arming.failed_because is not None)
    assert "did not fall" in rig.box.arming.failed_because
    rig.press_button()
    with pytest.raises(CommandRefused, match="did not fall"):
        rig.ask("start")

    rig.board.replace_relay(name)
    rig.arm_after_a_failed_test()
    rig.etch()
    assert rig.run.ended == "complete"
    assert not rig.relay.is_due


def open_lid(rig):
    rig.board.open_lid()


def press_stop_button(rig):
    rig.board.set_input("stop_circuit", level=False)


def see_a_flame(rig):
    rig.board.set_input("flame", level=False)


def stop(rig):
    rig.ask("stop")


def hang(rig):
    rig.machine.hang()


@pytest.mark.fault("safety relay or heartbeat contact welded")
@pytest.mark.parametrize("happens", [open_lid, press_stop_button, see_a_flame, stop, hang])
def test_after_any_other_end_the_beams_contact_is_never_held_closed_for_a_test(tmp_path, happens):
    with Watched(tmp_path) as rig:
        rig.start(rig.make_job(dashes(6, 400)))
        rig.etch_until_row(1)
        rig.seen.clear()
        happens(rig)
        rig.wait_for_the_end()
        rig.wait(3.0)

        assert rig.still_s < STILL_S
        assert not rig.is_beam_enabled
        assert rig.relay.day is None


def test_an_etch_that_ends_elsewhere_than_planned_is_not_followed_by_a_test(rig):
    rig.port.damage = (b"G90G0X", b"G90G0X1")  # the parking move
    rig.etch()

    assert rig.run.ended == "failed"
    assert rig.still_s < STILL_S
    assert rig.relay.day is None


def test_without_the_controllers_word_that_the_beam_is_off_nothing_is_tested(rig):
    rig.port.damage = (b"M5\n", b"M3\n")
    rig.etch()

    assert rig.run.ended == "complete"
    assert rig.still_s < STILL_S
    assert not rig.is_beam_enabled
    assert rig.relay.day is None


def test_arming_closes_the_beams_contact_only_when_the_controllers_beam_was_seen_to_be_off(rig):
    rig.ask("disarm")
    rig.seen.clear()
    rig.port.damage = (b"M5\n", b"M3\n")

    with pytest.raises(CommandRefused, match="does not say that the beam is off"):
        rig.ask("arm", answers=ANSWERS, test_heartbeat=False)
    rig.wait(2.0)

    assert not any(is_enabled for is_enabled, _, _ in rig.seen)


def test_a_lid_opened_in_the_middle_of_the_test_ends_it_without_a_result(rig):
    rig.board.weld(SAFETY_RELAY)
    rig.ask("start")
    rig.wait_until(lambda: rig.guard.can_test_relay and not rig.guard.is_relay_tested())

    rig.board.open_lid()
    rig.step(2)
    is_out = not rig.is_beam_enabled
    rig.wait_for_the_end()
    rig.wait(1.0)

    assert is_out
    assert rig.run.ended == "complete"
    assert rig.tripped == ["lid closed"]
    assert rig.relay.day is None
    assert "cut" not in rig.record.kinds()


def test_a_stop_or_a_hold_in_the_middle_of_the_test_changes_nothing_of_the_end(rig):
    for wish in ("hold", "hold_now", "stop"):
        rig.ask("start")
        rig.wait_until(lambda: not rig.guard.is_relay_tested())
        rig.ask(wish)
        rig.wait_for_the_end()
        assert rig.run.ended == "complete", wish
        assert rig.state == "ended"
        rig.wait(1.0)
        rig.arm()


@pytest.mark.parametrize("is_welded", [False, True])
def test_no_test_lasts_long_enough_for_the_fan_to_run_on_by_itself(rig, is_welded):
    if is_welded:
        rig.board.weld(SAFETY_RELAY)
    rig.etch()

    assert STILL_S < rig.still_s <= HEARTBEAT_OPENS_WITHIN_S + 0.1 < FAN_RUNS_ON_AFTER_S


class WithoutHeartbeat(Watched):
    """A box that has no heartbeat output; its safety relay is held by the board all the same."""

    def make_setup(self):
        setup = super().make_setup()
        return replace(setup, wired=setup.wired - {Output.HEARTBEAT})


def test_a_box_without_a_heartbeat_ends_and_arms_as_ever_and_says_what_it_cannot_find(tmp_path):
    with WithoutHeartbeat(tmp_path) as rig:
        rig.start()
        rig.port.written.clear()
        rig.wait_for_the_end()

        assert b"$G\n" not in bytes(rig.port.written)
        assert rig.box.request is None
        assert rig.relay.sentence.startswith(CANNOT)
        rig.arm()
        rig.etch()
        assert rig.run.ended == "complete"
