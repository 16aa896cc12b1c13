"""Whatever goes wrong in whatever order: the window holds, the loop stands, the beam obeys."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from etchpractice.machine import PracticeMachine
from rig.bench import Rig, patch

pytestmark = pytest.mark.slow


class Etching(RuleBasedStateMachine):
    """One etch on the practice machine, disturbed at random, again and again."""

    def __init__(self):
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()

    @initialize(firmware=st.sampled_from(["8-bit", "32-bit"]), seed=st.integers(0, 99))
    def plug_together(self, firmware, seed):
        self.rig = Rig(Path(self.folder.name), PracticeMachine(firmware=firmware, seed=seed))
        self.rig.wait_until(lambda: self.rig.link == "ready")
        self.rig.load(self.rig.make_job(patch(4, 120)))

    def teardown(self):
        self.rig.service.close()
        self.folder.cleanup()

    def _ask_if_allowed(self, command):
        if command in self.rig.commands.snapshot().may:
            self.rig.submit(command)

    @rule(seconds=st.floats(0.004, 1.5))
    def wait(self, seconds):
        self.rig.wait(seconds)

    @rule(command=st.sampled_from(["start", "hold", "hold_now", "resume", "stop", "unlock"]))
    def ask(self, command):
        self._ask_if_allowed(command)
        self.rig.step(2)

    @rule(times=st.integers(1, 3))
    def lose_replies(self, times):
        for _ in range(times):
            self.rig.machine.faults.lose_next_reply()

    @rule(seconds=st.sampled_from([0.0, 0.02, 0.3]))
    def delay(self, seconds):
        self.rig.machine.delay_replies(seconds)

    @rule()
    def reset(self):
        self.rig.machine.reset_now()

    @rule(code=st.sampled_from([2, 9, 20, 33]))
    def refuse(self, code):
        self.rig.machine.faults.refuse_next_line(code)

    @rule(count=st.integers(1, 300))
    def noise(self, count):
        self.rig.machine.send_noise(count)

    @rule()
    def pull_and_plug(self):
        self.rig.machine.unplug()
        self.rig.wait(0.1)
        self.rig.machine.plug_in()

    @rule()
    def greet(self):
        self.rig.machine.greet_again()

    @invariant()
    def the_beam_is_enabled_only_while_a_run_is_under_way(self):
        if self.rig.contact.is_closed:
            assert self.rig.state in ("etching", "holding", "resuming", "stopping")

    @invariant()
    def every_run_that_ended_has_an_end_in_the_record(self):
        if self.rig.state == "ended":
            assert self.rig.record.end is not None

    @invariant()
    @precondition(lambda self: self.rig.records.runs)
    def no_row_is_recorded_twice_or_out_of_order(self):
        rows = [row.row for row in self.rig.record.rows]
        assert rows == list(range(len(rows)))

    @invariant()
    def no_byte_is_lost_while_nothing_disturbs_the_count(self):
        """Only an answer that belongs to nothing can make the window too wide; none is given."""
        assert self.rig.machine.controller.engine.receive.lost_bytes == 0


Etching.TestCase.settings = settings(max_examples=25, stateful_step_count=25, deadline=None)
TestEtching = Etching.TestCase
