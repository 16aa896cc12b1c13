"""The interlocks of one box: looks and requests in, outputs, verdicts and refusals out.

Pure: no port, no clock, no thread. Times are wall-clock monotonic seconds, given by the caller.
"""

from collections.abc import Collection, Mapping
from dataclasses import replace
from operator import itemgetter
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.attendance.attendance_calls import FROM_AFAR, AttendanceCalls
from etchdaemon.interlocks.attendance.watch_rounds import rounds_for
from etchdaemon.interlocks.checks.proof_tests import ProofTests
from etchdaemon.interlocks.checks.safety_relay import SafetyRelay
from etchdaemon.interlocks.checks.wiring import WiringTest
from etchdaemon.interlocks.checks.wiring_gaps import is_attended_only, watches_only_because
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.conditions.input_conditions import BeamContact
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.input_sampler import InputSampler
from etchdaemon.interlocks.inputs import Input, Look, Output
from etchdaemon.interlocks.limits import CONTACT_S
from etchdaemon.interlocks.outputs.buzzer_calls import buzzer_calls
from etchdaemon.interlocks.outputs.indicators import is_buzzer_on, is_lamp_on
from etchdaemon.interlocks.outputs.loop_heartbeat import LoopHeartbeat
from etchdaemon.interlocks.outputs.output_demand import OutputDemand
from etchdaemon.interlocks.rules.condition_durations import ConditionDurations
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.latch import Latch, Trip
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction, rules_for
from etchdaemon.interlocks.rules.verdict import LookOutcome, Verdict
from etchdaemon.interlocks.setup import Setup
from etchdaemon.interlocks.start.arming import Arming, what_undoes
from etchdaemon.interlocks.start.checklist import Checklist
from etchdaemon.interlocks.start.starting import (
    StartRequest,
    record_of_start,
    refuse_without_people,
)

SPARE_S: Final = 0.05  # for the look that closes the contact
NOT_ARMED: Final = "Arm the box at the machine first."
UNDER_WAY: Final = "A run is under way; there is nothing to arm."


class InterlockEngine:
    """Decides whether there may be a beam, and joins the parts that this depends on.

    `look` and the requests of loop and people come in any order. A request that is refused raises
    CommandRefused with a sentence for the person, and changes nothing.
    """

    def __init__(self, setup: Setup) -> None:
        """Begin with nothing seen, armed or tripped."""
        self.setup = setup
        self.rules = rules_for(setup.wired, setup.changes, stale_after_s=setup.stale_after_s)
        self.sampler = InputSampler(setup, self.rules)
        self.latch = Latch()
        self.durations = ConditionDurations()
        self.checklist = Checklist()
        self.arming = Arming()
        self.is_attended_only = is_attended_only(setup.wired)
        self.attendance_rules = rounds_for(setup.attendance, is_attended_only=self.is_attended_only)
        self.attendance = AttendanceCalls(
            self.attendance_rules, has_button=Input.ARM_BUTTON in setup.wired
        )
        self.wiring = WiringTest(setup.wired)
        self.proofs = ProofTests(setup.wired)
        self.relay = SafetyRelay(setup.wired)
        self.controller_obeys = True
        self._heartbeat = LoopHeartbeat()
        self._beam_contact = BeamContact(is_on=False, since_s=0.0)
        self._is_beam_requested = False
        self._is_etching = False
        self._fault_at_s: WallSeconds | None = None

    @property
    def phase(self) -> Phase:
        """Whether the box is idle, armed or etching."""
        if self._is_etching:
            return Phase.ETCHING
        return Phase.ARMED if self.arming.is_armed else Phase.IDLE

    @property
    def is_free(self) -> bool:
        """Whether nothing is etched, armed or tripped, so that outputs may be tried."""
        is_idle = self.phase is Phase.IDLE and not self.arming.is_under_way
        return is_idle and not self.latch.trips

    @property
    def required_action(self) -> str | None:
        """What has to be done at the machine before arming, while nothing else comes first."""
        if not self.is_free:
            return None
        return self.proofs.required_action or self.relay.required_action

    @property
    def is_beam_on(self) -> bool:
        """Whether the beam's contact was last driven on."""
        return self._beam_contact.is_on

    @property
    def settle_s(self) -> float:
        """How long after `allow_beam` the beam can be counted on: contact, laser, and a look."""
        return max(CONTACT_S + SPARE_S, self.setup.beam_enable_settle_s)

    # What is seen, and what follows from it.

    def look(self, look: Look) -> LookOutcome:
        """Take in one look at the board and return what follows from it."""
        now_s = look.now_s
        self.wiring.take(look)
        self.proofs.take(look)
        is_wanted = self.phase is not Phase.IDLE or self.arming.is_under_way
        if self.wiring.advance(now_s, is_free=self.is_free) is Output.EXTRACTION and not is_wanted:
            self.sampler.stop_fan(now_s)
        self.sampler.take(
            look,
            beam=self._beam_seen(),
            is_fan_wanted=is_wanted or self.wiring.tried_output is Output.EXTRACTION,
            air=self.latch.air(),
        )
        presence_at_s = self.sampler.presence.at_s
        self.attendance.advance(
            now_s,
            is_etching=self._is_etching,
            is_beam_on=self.is_beam_on,
            pressed_at_s=presence_at_s,
        )
        is_missed = self.attendance.rounds.is_missed
        self.sampler.note(Condition.ATTENDED, is_good=not is_missed, at_s=now_s)
        self.sampler.note(Condition.CONTROLLER_OBEYS, is_good=self.controller_obeys, at_s=now_s)
        self.sampler.note(Condition.GUARD_ALIVE, is_good=True, at_s=now_s)
        verdict = self.judge(now_s)
        self.durations = self.durations.after(verdict.breaches, now_s)
        self.relay.note_press(presence_at_s)
        if self.relay.advance_test(is_closed=look.is_closed(Input.LOOP_CLOSED), now_s=now_s):
            self.cut_beam()
        self._advance_arming(look, verdict.breaches)
        return LookOutcome(self._output_levels(verdict.reaction, now_s), verdict)

    def _beam_seen(self) -> BeamContact:
        """Return what the loop has to follow: the beam's contact, unless the relay is tested."""
        contact = self._beam_contact
        return replace(contact, is_relay_tested=True) if self.relay.is_tested else contact

    def judge(self, now_s: WallSeconds) -> Verdict:
        """Latch what is broken at `now_s` and return the worst reaction that is asked for.

        It needs no look, so that the loop notices a guard that has stopped looking: its samples
        grow stale.
        """
        alive_at_s = self._heartbeat.loop_alive_at_s
        if alive_at_s is not None:  # not only at a look: the looking thread may be what hangs
            self.sampler.note(Condition.LOOP_ALIVE, is_good=True, at_s=alive_at_s)
        breaches = self.sampler.breaches(now_s)
        phase = self.phase
        self.latch.note(breaches, phase, now_s)
        reactions = [(trip.reaction_at(now_s), trip.sentence) for trip in self.latch.trips]
        reactions += [(breach.reaction(phase), breach.sentence) for breach in breaches]
        reaction, sentence = max(reactions, key=itemgetter(0), default=(Reaction.NOTHING, ""))
        if reaction >= Reaction.TRIP:
            self.cut_beam()
        return Verdict(reaction, sentence, breaches=breaches)

    def judge_absence(self, now_s: WallSeconds) -> Verdict:
        """Judge by the samples from before a long time without a look.

        The loop may have stood still as long, by the same cause: how long it gives no sign of
        life is counted from now on.
        """
        verdict = self.judge(now_s)
        self._heartbeat.watch_anew(now_s)
        return verdict

    def note_loop_alive(self, now_s: WallSeconds, *, is_waiting: bool = False) -> None:
        """Note that the serial loop is alive.

        `is_waiting`: it is about to wait for the logbook, before a start or a resume. There is no
        beam meanwhile, and a slow disk is no hanging program.
        """
        if is_waiting:
            self.cut_beam()
        self._heartbeat.note_loop_alive(now_s, is_waiting=is_waiting)

    def note_failed(self, now_s: WallSeconds) -> None:
        """Trip because the guard itself has failed."""
        self.sampler.note(Condition.GUARD_ALIVE, is_good=False, at_s=now_s)
        self.judge(now_s)

    def note_fault(self, now_s: WallSeconds) -> None:
        """Note that a fault of controller or cable ended the run, so that the buzzer sounds."""
        self._fault_at_s = now_s

    # The beam.

    def allow_beam(self, now_s: WallSeconds) -> None:
        """Request the beam for the run that is under way; its contact closes at the next look."""
        if not self._is_etching:
            raise CommandRefused("There is no run, so there is no beam.")
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._is_beam_requested = True

    def cut_beam(self) -> None:
        """Withdraw the request for the beam, which ends a test of the safety relay too."""
        self._is_beam_requested = False
        self.relay.abandon_test()

    def may_burn(self, now_s: WallSeconds) -> bool:
        """Return whether the beam's contact is closed, has settled, and no rule objects."""
        is_settled = self.is_beam_on and self._beam_contact.has_moved(now_s)
        return is_settled and self.judge(now_s).reaction < Reaction.HOLD

    def note_beam_driven(self, *, is_on: bool, now_s: WallSeconds) -> None:
        """Note what the beam's contact was really driven to."""
        if is_on is not self.is_beam_on:
            self._beam_contact = replace(self._beam_contact, is_on=is_on, since_s=now_s)

    # The run.

    def arm(
        self,
        answers: Mapping[str, object],
        *,
        day: str,
        now_s: WallSeconds,
        with_heartbeat_test: bool = False,
    ) -> None:
        """Begin arming; the `answers` to the checklist are kept even where that is refused."""
        because = watches_only_because(self.setup.wired)
        if because is not None:
            raise CommandRefused(because)
        if self._is_etching:
            raise CommandRefused(UNDER_WAY)
        self.checklist.answer(answers, day)
        if unanswered := self.checklist.open_questions(day):
            raise CommandRefused(f"First confirm: {unanswered[0].text}")
        self._refuse_if_unsafe(now_s, Phase.IDLE)
        if self.required_action is not None:
            raise CommandRefused(self.required_action)
        if with_heartbeat_test and not self.setup.wired >= {Output.HEARTBEAT, Input.LOOP_CLOSED}:
            raise CommandRefused(
                "A file with constant power needs a heartbeat contact and the loop input."
            )
        self.arming = self.arming.begin(
            now_s,
            has_loop_input=Input.LOOP_CLOSED in self.setup.wired,
            with_heartbeat_test=with_heartbeat_test or self.relay.has_failed,
        )

    def disarm(self) -> None:
        """Undo arming; harmless when nothing is armed."""
        self.arming = self.arming.disarm()

    def refuse_start(self, now_s: WallSeconds) -> None:
        """Raise CommandRefused where something at the box forbids a start."""
        if self._is_etching:
            raise CommandRefused("A run is already under way.")
        if not self.arming.is_armed:
            raise CommandRefused(self.required_action or self.arming.failed_because or NOT_ARMED)
        self._refuse_if_unsafe(now_s, Phase.ARMED)
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._refuse_if_not_extracted()

    def begin_run(self, request: StartRequest, now_s: WallSeconds) -> dict[str, object]:
        """Begin a run, which uses up the arming, and return what its record says of the box."""
        self.refuse_start(now_s)
        if request.has_constant_power and not self.arming.is_heartbeat_proven:
            raise CommandRefused(
                "This file can hold the beam on at standstill. It runs only after the heartbeat's "
                "contact was seen to open at this arming."
            )
        refuse_without_people(request, self.attendance_rules, wired=self.setup.wired)
        record = record_of_start(request, self.setup, self.arming, self.checklist)
        record["seen_to_open"] = self.proofs.record()
        record["safety_relay"] = self.relay.record()
        self._is_etching = True
        self._fault_at_s = None
        self.disarm()
        self.sampler.use_presence()
        self.attendance.begin(now_s)
        self.checklist.note_run_started()
        return record

    def refuse_resume(self, now_s: WallSeconds) -> None:
        """Raise CommandRefused where a held run may not be resumed now."""
        if not self._is_etching:
            raise CommandRefused("No run is held.")
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._refuse_if_not_extracted()
        if not self.sampler.presence.is_recent(now_s):
            raise CommandRefused(
                "A phone alone cannot resume. Press the button at the machine (or, where there "
                "is none, open and close the lid, then reset) and resume within a minute."
            )

    def resume_run(self, now_s: WallSeconds) -> None:
        """Resume a held run, where all is safe and somebody is at the machine."""
        self.refuse_resume(now_s)
        self.sampler.use_presence()
        self.attendance.begin(now_s)

    def end_run(self) -> None:
        """Note that the run is over: no beam, and nothing is armed."""
        self.cut_beam()
        self._is_etching = False
        self.attendance.end()
        self.disarm()

    def test_relay(self, now_s: WallSeconds) -> bool:
        """Begin the safety relay's test at the end of a run; return False where it proves nothing.

        The beam's contact must be closed and nothing may have tripped; the contact opens when
        the test is over. The caller has seen the machine at rest and the controller's beam off.
        """
        is_fit = self.relay.can_be_tested and self._is_etching and self.may_burn(now_s)
        if is_fit:
            self.relay.begin_test(now_s)
        return is_fit

    # Other requests of people.

    def reset(self, names: Collection[str], now_s: WallSeconds) -> tuple[Trip, ...]:
        """Reset the trips a person was shown; see `Latch.reset`."""
        is_there = self.sampler.presence.is_recent(now_s)
        return self.latch.reset(names, self.sampler.breaches(now_s), is_somebody_there=is_there)

    def try_output(self, name: str, *, is_on: bool, now_s: WallSeconds) -> None:
        """Try an output for a moment, or stop trying."""
        if is_on and not self.is_free:
            raise CommandRefused(
                "Outputs can be tried only while nothing is armed, etched or waiting for a reset."
            )
        self.wiring.begin(name, is_on=is_on, now_s=now_s, is_fan_on=self.sampler.fan.is_on)

    def answer_round(self, now_s: WallSeconds) -> None:
        """Take an answer from afar to a watch round or a look."""
        if self.attendance.open_call is None:
            raise CommandRefused("Nobody is asked for: no watch round, and no look after the end.")
        self.attendance.answer(FROM_AFAR, now_s)

    def _refuse_if_unsafe(self, now_s: WallSeconds, phase: Phase) -> None:
        if self.latch.trips:
            raise CommandRefused(f"Reset first: {self.latch.trips[0].sentence}")
        for breach in self.sampler.breaches(now_s):
            if breach.reaction(phase) >= Reaction.FORBID:
                raise CommandRefused(breach.sentence)

    def _refuse_if_not_extracted(self) -> None:
        if Output.EXTRACTION in self.setup.wired and not self.sampler.fan.is_ready:
            raise CommandRefused(self.sampler.fan.sentence)

    def _advance_arming(self, look: Look, breaches: Collection[RuleBreach]) -> None:
        undone_because = what_undoes(self.arming, self.latch.trips, breaches)
        if undone_because is not None:
            self.arming = self.arming.disarm(undone_because)
            return
        before, is_loop_closed = self.arming, look.is_closed(Input.LOOP_CLOSED)
        is_lid_open = any(breach.rule.requires is Condition.LID_CLOSED for breach in breaches)
        self.arming = before.advance(
            is_loop_closed=is_loop_closed,
            presence_at_s=None if is_lid_open else self.sampler.presence.at_s,
            now_s=look.now_s,
        )
        has_ended = before.withholds_heartbeat and not self.arming.withholds_heartbeat
        if has_ended and is_loop_closed is not None:
            self.relay.note_result(has_passed=self.arming.is_heartbeat_proven)

    def _output_levels(self, reaction: Reaction, now_s: WallSeconds) -> Mapping[Output, bool]:
        demand = OutputDemand(
            reaction=reaction,
            is_beam_requested=self._is_etching and self._is_beam_requested,
            arming=self.arming,
            is_relay_tested=self.relay.is_tested,
            tried_output=self.wiring.tried_output,
            is_fan_on=self.sampler.fan.is_on,
        )
        heartbeat = self._heartbeat.beat(now_s, is_withheld=demand.is_heartbeat_withheld)
        self.relay.note_beat(now_s, is_beating=self._heartbeat.is_beating)
        is_press_due = self.required_action is not None  # without a heartbeat the relay has fallen
        calls = buzzer_calls(
            self.latch.trips, reaction, self.attendance, fault_at_s=self._fault_at_s
        )
        levels = demand.levels(
            heartbeat=heartbeat,
            is_lamp_on=is_lamp_on(self.phase, now_s, is_press_due=is_press_due),
            is_buzzer_on=is_buzzer_on(calls, now_s),
        )
        return {output: is_on for output, is_on in levels.items() if output in self.setup.wired}
