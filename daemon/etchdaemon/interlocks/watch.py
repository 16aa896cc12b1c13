"""The interlocks of one box at work: looks in, orders out; no port, no clock, no thread."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from operator import attrgetter, itemgetter
from typing import Final

from etchdaemon.interlocks.attendance.attendance_calls import AttendanceCalls
from etchdaemon.interlocks.attendance.watch_rounds import rounds_for
from etchdaemon.interlocks.checks.proof_tests import ProofTests
from etchdaemon.interlocks.checks.safety_relay import SafetyRelay
from etchdaemon.interlocks.checks.wiring import WiringTest
from etchdaemon.interlocks.checks.wiring_gaps import is_attended_only
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.conditions.input_conditions import Beam
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.input_sampler import InputSampler
from etchdaemon.interlocks.inputs import Input, Look, Output
from etchdaemon.interlocks.limits import CONTACT_S
from etchdaemon.interlocks.outputs.indicators import is_buzzer_on, is_lamp_on
from etchdaemon.interlocks.outputs.loop_heartbeat import LoopHeartbeat
from etchdaemon.interlocks.rules.condition_durations import ConditionDurations
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.latch import Latch, Trip
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction, rules_for
from etchdaemon.interlocks.rules.verdict import LookOutcome, Verdict
from etchdaemon.interlocks.setup import Setup
from etchdaemon.interlocks.start.arming import Arming, what_undoes
from etchdaemon.interlocks.start.checklist import Checklist
from etchwire.alert_policy import Occasion

SPARE_S: Final = 0.05  # for the look that closes the contact


class Watch:
    """Decides whether there may be a beam; remembers trips, arming, rounds and answers."""

    def __init__(self, setup: Setup) -> None:
        """Begin with nothing seen."""
        self.setup = setup
        self.rules = rules_for(setup.wired, setup.changes)
        self.senses = InputSampler(setup, self.rules)
        self.checklist = Checklist()
        self.latch = Latch()
        self.durations = ConditionDurations()
        self.arming = Arming()
        self.is_attended_only = is_attended_only(setup.wired)
        self.attendance = rounds_for(setup.attendance, is_attended_only=self.is_attended_only)
        self.people = AttendanceCalls(self.attendance, has_button=Input.ARM_BUTTON in setup.wired)
        self.wiring = WiringTest(setup.wired)
        self.proofs = ProofTests(setup.wired)
        self._fault_at_s: WallSeconds | None = None
        self.controller_obeys = True
        self.relay = SafetyRelay(setup.wired)
        self._is_etching = False
        self._is_beam_wanted = False
        self._beam = Beam(is_on=False, since_s=0.0)
        self._steering = LoopHeartbeat()

    @property
    def phase(self) -> Phase:
        """How far the box is."""
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
        return self.proofs.required_action or self.relay.required_action if self.is_free else None

    @property
    def is_beam_on(self) -> bool:
        """Whether the beam's contact was last told to close."""
        return self._beam.is_on

    def judge(self, now_s: WallSeconds) -> Verdict:
        """Latch what is found at `now_s` and return the worst that is asked for.

        It needs no look, so that whoever steers the machine notices a guard that has stopped
        looking: its samples grow stale.
        """
        if self._steering.seen_at_s is not None:  # not only at a look: those may be what hangs
            self.senses.note(Condition.LOOP_ALIVE, is_good=True, at_s=self._steering.seen_at_s)
        found = self.senses.found(now_s)
        phase = self.phase
        self.latch.note(found, phase, now_s)
        asked = [(trip.reaction_at(now_s), trip.sentence) for trip in self.latch.trips]
        asked += [(breach.reaction(phase), breach.sentence) for breach in found]
        reaction, sentence = max(asked, key=itemgetter(0), default=(Reaction.NOTHING, ""))
        if reaction >= Reaction.TRIP:
            self.cut_beam()
        return Verdict(reaction, sentence, found=found)

    def judge_absence(self, now_s: WallSeconds) -> Verdict:
        """Judge by the readings from before nobody looked for long, and begin to watch anew.

        The loop may have stood still as long, by the same cause: whether it is alive shows from
        now on.
        """
        verdict = self.judge(now_s)
        self._steering.watch_anew(now_s)
        return verdict

    def note_loop_alive(self, now_s: WallSeconds, *, is_waiting: bool = False) -> None:
        """Note that the loop that steers the machine is alive.

        It may be about to wait for the logbook's word, before a start or a resume: there is no
        beam meanwhile, and a slow disk is no hanging program.
        """
        if is_waiting:
            self.cut_beam()
        self._steering.note(now_s, is_waiting=is_waiting)

    def note_failed(self, now_s: WallSeconds) -> None:
        """Trip because the guard itself has failed."""
        self.senses.note(Condition.GUARD_ALIVE, is_good=False, at_s=now_s)
        self.judge(now_s)

    def note_fault(self, now_s: WallSeconds) -> None:
        """Note that the controller has ended the run, or its cable: the buzzer calls somebody."""
        self._fault_at_s = now_s

    def look(self, look: Look) -> LookOutcome:
        """Take in one look at the board and return what follows from it."""
        now_s = look.now_s
        self.wiring.see(look)
        self.proofs.see(look)
        is_wanted = self.phase is not Phase.IDLE or self.arming.is_under_way
        if self.wiring.go_on(now_s, is_free=self.is_free) is Output.EXTRACTION and not is_wanted:
            self.senses.fan = self.senses.fan.stop_now(now_s)
        self.senses.take(
            look,
            beam=replace(self._beam, is_relay_tested=self.relay.is_tested),
            is_fan_wanted=is_wanted or self.wiring.tries(Output.EXTRACTION),
            air=self.latch.air(),
        )
        self.people.see(
            now_s,
            is_etching=self._is_etching,
            is_beam_on=self._beam.is_on,
            pressed_at_s=self.senses.presence.at_s,
        )
        is_missed = self.people.rounds.is_missed
        self.senses.note(Condition.ATTENDED, is_good=not is_missed, at_s=now_s)
        self.senses.note(Condition.CONTROLLER_OBEYS, is_good=self.controller_obeys, at_s=now_s)
        self.senses.note(Condition.GUARD_ALIVE, is_good=True, at_s=now_s)
        verdict = self.judge(now_s)
        self.durations = self.durations.after(verdict.found, now_s)
        self.relay.note_press(self.senses.presence.at_s)
        self._go_on_testing(look)
        self._go_on_arming(look, verdict.found)
        return LookOutcome(self._outputs(verdict.reaction, now_s), verdict)

    def cut_beam(self) -> None:
        """Wish for the beam's contact to open, which ends a test of the safety relay too."""
        self._is_beam_wanted = False
        self.relay.abandon_test()

    @property
    def settle_s(self) -> float:
        """How long after `allow_beam` the beam can be counted on: contact, laser, and a look."""
        return max(CONTACT_S + SPARE_S, self.setup.beam_enable_settle_s)

    def may_burn(self, now_s: WallSeconds) -> bool:
        """Return whether the beam's contact is closed, has settled, and nothing speaks against."""
        is_settled = self._beam.is_on and self._beam.has_moved(now_s)
        return is_settled and self.judge(now_s).reaction < Reaction.HOLD

    def drive(self, *, is_on: bool, now_s: WallSeconds) -> None:
        """Note what the beam's contact was really told."""
        if is_on is not self._beam.is_on:
            self._beam = replace(self._beam, is_on=is_on, since_s=now_s)

    def _go_on_testing(self, look: Look) -> None:
        if not self.relay.is_tested:
            return
        self.relay.advance_test(is_closed=_is_loop_closed(look), now_s=look.now_s)
        if not self.relay.is_tested:
            self.cut_beam()

    def _go_on_arming(self, look: Look, found: Collection[RuleBreach]) -> None:
        in_the_way = what_undoes(self.arming, self.latch.trips, found)
        if in_the_way is not None:
            self.arming = self.arming.disarm(in_the_way)
            return
        before, is_loop_closed = self.arming, _is_loop_closed(look)
        is_lid_open = any(breach.rule.requires is Condition.LID_CLOSED for breach in found)
        self.arming = self.arming.advance(
            is_loop_closed=is_loop_closed,
            presence_at_s=None if is_lid_open else self.senses.presence.at_s,
            now_s=look.now_s,
        )
        has_ended = before.withholds_heartbeat and not self.arming.withholds_heartbeat
        if has_ended and is_loop_closed is not None:
            self.relay.note_result(has_passed=self.arming.is_heartbeat_proven)

    def _outputs(self, reaction: Reaction, now_s: WallSeconds) -> Mapping[Output, bool]:
        is_safe = reaction < Reaction.TRIP
        is_beam_on = is_safe and (
            (self._is_etching and self._is_beam_wanted) or self.arming.tests_beam
        )
        # Where K2 does not open, K3 and K1 do: a contact may be welded and nobody has seen it.
        is_withheld = (
            reaction is Reaction.EMERGENCY
            or self.arming.withholds_heartbeat
            or self.relay.is_tested
            or self.wiring.tries(Output.HEARTBEAT)
        )
        heartbeat = self._steering.beat(now_s, is_withheld=is_withheld)
        self.relay.note_beat(now_s, is_beating=self._steering.is_beating)
        is_buzzing = is_buzzer_on(self._calls(reaction), now_s)
        is_lit = is_lamp_on(self.phase, now_s, is_press_due=self.required_action is not None)
        outputs = {  # in the order in which they are driven: the beam's before a slow fan's
            Output.BEAM_ENABLE: is_beam_on,
            Output.EXTRACTION: self.senses.fan.is_on,
            Output.LAMP: is_lit or self.wiring.tries(Output.LAMP),
            Output.BUZZER: is_buzzing or self.wiring.tries(Output.BUZZER),
            Output.HEARTBEAT: heartbeat,
        }
        return {output: is_on for output, is_on in outputs.items() if output in self.setup.wired}

    def _calls(self, reaction: Reaction) -> Mapping[Occasion, float | None]:
        """Return what the buzzer has to tell, and since when."""
        last = max(self.latch.trips, key=attrgetter("at_s"), default=None)
        tripped = {} if last is None else {_occasion_of(last, reaction): last.at_s}
        rounds = self.people.rounds
        return {
            **tripped,
            Occasion.FAULT: self._fault_at_s,
            Occasion.ROUND: None if rounds.is_missed else rounds.asked_at_s,
            Occasion.LOOK: self.people.looks.asked_at_s,
        }


def _occasion_of(last: Trip, worst: Reaction) -> Occasion:
    """Return what the buzzer tells of the trip that came last; an emergency goes before all."""
    if worst is Reaction.EMERGENCY:
        return Occasion.EMERGENCY
    if last.reaction is Reaction.HOLD:
        return Occasion.HOLD_BY_BOX
    return Occasion.TRIP_AT_REST if last.phase is Phase.IDLE else Occasion.TRIP


def _is_loop_closed(look: Look) -> bool | None:
    loop = look.levels.get(Input.LOOP_CLOSED)
    return None if loop is None else loop.is_closed
