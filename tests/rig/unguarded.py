"""A box without interlocks, for tests of what has nothing to do with them."""

# ruff: noqa: ARG002 - the signatures are the guard's

from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.report import report_of
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.interlocks.setup import Setup
from etchwire.calls.interlock_report import WiringReport


class Unguarded:
    """Has only the beam's contact; forbids nothing, asks for nothing; is armed but at an end."""

    phase = Phase.ARMED
    report_key = ()
    watches_only_because = None
    can_test_relay = False

    def __init__(self, contact):
        self._contact = contact
        self.operator = self  # people ask the same one
        bare = InterlockEngine(Setup(wired=frozenset()))
        self._report = report_of(bare, day="2026-05-04", now_s=0.0)

    def allow(self):
        self._contact.allow()

    def cut(self):
        self._contact.cut()

    def verdict(self):
        return Verdict(Reaction.NOTHING)

    def has_settled(self):
        return self._contact.has_settled

    def may_burn(self):
        return True

    def why_not_start(self):
        return None

    def why_not_resume(self):
        return None

    def late_end(self, *, goes_on_at, lasts_s):
        return None

    def confirmations_for(self, wish):
        return {"long_run": None, "stays": None, "too_late": None}

    def begin_run(self, wish):
        return {}

    def report(self, *, day):
        return self._report

    trouble = None

    def note_controller(self, *, obeys):
        pass

    def disarm(self):
        pass

    def wiring(self):
        return WiringReport(inputs=(), outputs=(), can_be_tried=False)

    def note_loop_alive(self, *, is_waiting=False):
        pass

    def note_fault(self):
        pass

    def recall_end(self, ago_s):
        pass

    def take_attendance_notes(self):
        return ()

    def resume_run(self):
        pass

    def end_run(self):
        self.phase = Phase.IDLE

    def arm(self):
        self.phase = Phase.ARMED
