"""Whatever the order of inputs and commands: no beam that should not be."""

from contextlib import suppress

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.conditions.extraction import ExtractionTimes
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.starting import StartRequest
from support.harnesses.interlock_bench import MINIMUM, NOON, Bench

pytestmark = pytest.mark.slow

AT_ONCE = (Input.LID, Input.LID_SECOND, Input.STOP_CIRCUIT, Input.FLAME)
SLOW = (Input.AIR_FLOW, Input.TEMPERATURE)
SLOW_LIMIT_S = 5.0
LOOP_TEST_LIMIT_S = 0.65  # a tenth for the contact, half a second for the heartbeat, a look or two


class AnyOrder(RuleBasedStateMachine):
    """Operates a box at random and keeps its own, much simpler book of what must not be."""

    @initialize(is_minimum=st.booleans(), is_running=st.booleans())
    def build(self, is_minimum, is_running):
        wired = MINIMUM if is_minimum else EVERYTHING
        self.bench = Bench(Setup(wired=wired, extraction=ExtractionTimes(purge_s=2.0)))
        self.inputs = self.bench.interlocks.setup.inputs
        self.is_run = False
        self.needs_reset = False
        self.slow_bad_for_s = dict.fromkeys(SLOW, 0.0)
        self.tested_for_s = 0.0
        self.bench.run(1)
        if is_running:
            self.set_up_a_run()

    def look(self, opened=()):
        self.bench._let_wires_follow()
        is_bad = bool(set(opened) & set(AT_ONCE)) or any(
            name in self.inputs and (not self.bench.closed[name] or name in self.bench.unread)
            for name in AT_ONCE
        )
        orders = self.bench.tick(opened)
        if is_bad and self.is_run:
            self.needs_reset = True
        self.note_slow()
        is_on = orders.outputs[Output.BEAM_ENABLE]
        self.tested_for_s = self.tested_for_s + 0.01 if is_on and not self.is_run else 0.0

        assert not (is_on and is_bad), "a beam although a circuit was open or unread"
        if is_on and self.is_run:
            assert not self.needs_reset, "a beam although nobody has reset"
            assert max(self.slow_bad_for_s.values()) <= SLOW_LIMIT_S + 0.05
        elif is_on:
            assert self.bench.interlocks.arming.tests_beam
            assert self.tested_for_s <= LOOP_TEST_LIMIT_S

    def note_slow(self):
        for name in SLOW:
            is_bad = name in self.inputs and (
                not self.bench.closed[name] or name in self.bench.unread
            )
            self.slow_bad_for_s[name] = self.slow_bad_for_s[name] + 0.01 if is_bad else 0.0

    @rule(looks=st.sampled_from([1, 3, 12, 60, 250]))
    def wait(self, looks):
        for _ in range(looks):
            self.look()

    @rule(name=st.sampled_from(AT_ONCE + SLOW + (Input.LOOP_CLOSED,)))
    def break_a_circuit(self, name):
        if name in self.inputs:
            self.bench.follows_fan = self.bench.follows_fan and name is not Input.AIR_FLOW
            self.bench.follows_beam = self.bench.follows_beam and name is not Input.LOOP_CLOSED
            self.bench.open(name)

    @rule()
    def repair_everything(self):
        self.bench.follows_fan = self.bench.follows_beam = self.bench.is_loop_alive = True
        self.bench.unread.clear()
        for name in AT_ONCE + SLOW:
            if name in self.inputs:
                self.bench.close(name)

    @rule(name=st.sampled_from(AT_ONCE + SLOW))
    def lose_an_input(self, name):
        self.bench.unread.add(name)

    @rule(name=st.sampled_from(AT_ONCE))
    def flutter(self, name):
        if name in self.inputs:
            self.look(opened=(name,))

    @rule()
    def hang_the_loop(self):
        self.bench.is_loop_alive = False

    @rule()
    def fail_the_guard(self):
        self.bench.interlocks.note_failed(self.bench.now_s)
        self.needs_reset = self.needs_reset or self.is_run

    @rule()
    def show_somebody(self):
        name = Input.ARM_BUTTON if Input.ARM_BUTTON in self.inputs else Input.LID
        self.bench.closed[name] = name is Input.ARM_BUTTON
        for _ in range(20):
            self.look()
        self.bench.closed[name] = name is Input.LID
        for _ in range(60):
            self.look()

    @rule()
    def arm(self):
        with suppress(CommandRefused):
            self.bench.ask_to_arm()

    @rule()
    def wait_for_the_purge(self):
        for _ in range(220):
            self.look()

    @rule()
    def start(self):
        with suppress(CommandRefused):
            self.bench.interlocks.begin_run(
                StartRequest(lasts_s=60, starts_at=NOON), self.bench.now_s
            )
            self.is_run = True
            self.needs_reset = False  # a start needs an empty latch, so it begins clean

    @rule()
    def allow_beam(self):
        with suppress(CommandRefused):
            self.bench.interlocks.allow_beam(self.bench.now_s)
            assert self.is_run
            assert not self.needs_reset

    @rule()
    def cut_beam(self):
        self.bench.interlocks.cut_beam()

    @rule()
    def resume(self):
        with suppress(CommandRefused):
            self.bench.interlocks.resume_run(self.bench.now_s)

    @rule()
    def reset(self):
        with suppress(CommandRefused):
            self.bench.reset_everything()
            self.needs_reset = False

    @rule()
    def end(self):
        self.bench.interlocks.end_run()
        self.is_run = False

    @rule()
    def set_up_a_run(self):
        """The long way to a beam, so that the interesting part is often reached."""
        self.repair_everything()
        self.wait(60)
        self.show_somebody()
        self.reset()
        self.arm()
        self.show_somebody()
        self.wait_for_the_purge()
        self.start()
        self.allow_beam()

    @invariant()
    def a_latched_trip_means_no_beam(self):
        if hasattr(self, "bench") and self.bench.tripped and self.needs_reset:
            assert not self.bench.interlocks.arming.is_armed


TestAnyOrder = pytest.mark.fault("no beam whatever the order")(AnyOrder.TestCase)
TestAnyOrder.settings = settings(
    max_examples=60, stateful_step_count=25, deadline=None, derandomize=True
)


def test_the_random_operator_does_reach_a_beam():
    operator = AnyOrder()
    operator.build(is_minimum=False, is_running=True)

    operator.look()

    assert operator.bench.is_beam_on
