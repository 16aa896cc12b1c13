"""The interlocks of one box as a whole: looks in, orders out; no port, no clock, no thread."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from operator import itemgetter
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.arming import CONTACT_S, Arming, what_undoes
from etchdaemon.interlocks.attendance import WatchRounds, rounds_for
from etchdaemon.interlocks.checklist import Checklist
from etchdaemon.interlocks.conditions import Beam
from etchdaemon.interlocks.evaluation import Finding
from etchdaemon.interlocks.inputs import Input, Look, Output
from etchdaemon.interlocks.latch import Latch, Trip
from etchdaemon.interlocks.missing import is_attended_only, is_watch_only, lacks_of
from etchdaemon.interlocks.pace import REAL_PACE, Pace
from etchdaemon.interlocks.presence import WITHIN_S, Presence
from etchdaemon.interlocks.rules import Phase, Reaction, rules_for
from etchdaemon.interlocks.samples import Condition
from etchdaemon.interlocks.senses import Senses
from etchdaemon.interlocks.setup import Setup
from etchdaemon.interlocks.signals import is_buzzer_on, is_lamp_on
from etchdaemon.interlocks.standing import Standing
from etchdaemon.interlocks.starting import StartWish, record_of_start, refuse_without_people
from etchdaemon.interlocks.steering import Steering
from etchdaemon.interlocks.verdict import Orders, Verdict
from etchdaemon.interlocks.wiring import STALE_S, Wiring

SPARE_S: Final = 0.05  # for the look that closes the contact


class Interlocks:
    """Decides whether there may be a beam; remembers trips, arming, rounds and answers."""

    def __init__(self, setup: Setup, *, pace: Pace = REAL_PACE) -> None:
        """Begin with nothing seen."""
        self.setup = setup
        self.rules = rules_for(setup.inputs, setup.changes, time_factor=pace.readings)
        self.senses = Senses(setup, self.rules, presence=Presence(lasts_s=WITHIN_S * pace.people))
        self.checklist = Checklist()
        self.latch = Latch()
        self.standing = Standing()
        self.arming = Arming()
        self.rounds = WatchRounds()
        self.is_attended_only = is_attended_only(setup.wired)
        self.attendance = rounds_for(
            setup.attendance, is_attended_only=self.is_attended_only, pace=pace
        )
        self.wiring = Wiring(setup.wired, lasts=pace.people, stale_s=STALE_S * pace.readings)
        self.pace = pace
        self._is_etching = False
        self._is_beam_wanted = False
        self._beam = Beam(is_on=False, since_s=0.0, contact_s=CONTACT_S * pace.contacts)
        self._steering = Steering(time_factor=pace.readings)

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
    def is_beam_on(self) -> bool:
        """Whether the beam's contact was last told to close."""
        return self._beam.is_on

    def judge(self, now_s: float) -> Verdict:
        """Latch what is found at `now_s` and return the worst that is asked for.

        It needs no look, so that whoever steers the machine notices a guard that has stopped
        looking: its samples grow stale.
        """
        found = self.senses.found(now_s)
        phase = self.phase
        fresh = self.latch.note(found, phase, now_s)
        asked = [(trip.reaction_at(now_s), trip.sentence) for trip in self.latch.trips]
        asked += [(finding.reaction(phase), finding.sentence) for finding in found]
        reaction, sentence = max(asked, key=itemgetter(0), default=(Reaction.NOTHING, ""))
        if reaction >= Reaction.TRIP:
            self.cut_beam()
        return Verdict(reaction, sentence, fresh, found)

    def note_steered(self, now_s: float, *, is_waiting: bool = False) -> None:
        """Note that the loop that steers the machine is alive.

        It may be about to wait for the logbook's word, before a start or a resume: there is no
        beam meanwhile, and a slow disk is no hanging program.
        """
        if is_waiting:
            self.cut_beam()
        self._steering.note(now_s, is_waiting=is_waiting)

    def note_failed(self, now_s: float) -> None:
        """Trip because the guard itself has failed."""
        self.senses.note(Condition.GUARDED, is_good=False, at_s=now_s)
        self.judge(now_s)

    def look(self, look: Look) -> Orders:
        """Take in one look at the board and return what follows from it."""
        now_s = look.now_s
        self.wiring.see(look)
        is_wanted = self.phase is not Phase.IDLE or self.arming.is_under_way
        if self.wiring.go_on(now_s, is_free=self.is_free) is Output.EXTRACTION and not is_wanted:
            self.senses.fan = self.senses.fan.stop_now(now_s)
        self.senses.take(
            look,
            beam=self._beam,
            is_fan_wanted=is_wanted or self.wiring.tries(Output.EXTRACTION),
            air=self.latch.air(),
        )
        self.rounds = self.rounds.advance(self.attendance, now_s)
        self.senses.note(Condition.ATTENDED, is_good=not self.rounds.is_missed, at_s=now_s)
        self.senses.note(Condition.GUARDED, is_good=True, at_s=now_s)
        if self._steering.seen_at_s is not None:
            self.senses.note(Condition.STEERED, is_good=True, at_s=self._steering.seen_at_s)
        verdict = self.judge(now_s)
        self.standing = self.standing.after(verdict.found, now_s)
        self._go_on_arming(look, verdict.found)
        return Orders(self._outputs(verdict.reaction, now_s), verdict)

    def arm(
        self,
        answers: Mapping[str, object],
        *,
        day: str,
        now_s: float,
        with_heartbeat_test: bool = False,
    ) -> None:
        """Begin arming; raise CommandRefused saying what stands in the way."""
        if is_watch_only(self.setup.wired):
            raise CommandRefused(lacks_of(self.setup.wired)[0].sentence)
        if self._is_etching:
            raise CommandRefused("A run is under way; there is nothing to arm.")
        self.checklist.answer(answers, day)
        if unanswered := self.checklist.open_questions(day):
            raise CommandRefused(f"First confirm: {unanswered[0].text}")
        self._refuse_if_unsafe(now_s, Phase.IDLE)
        if with_heartbeat_test and not self.setup.wired >= {Output.HEARTBEAT, Input.LOOP_CLOSED}:
            raise CommandRefused(
                "A file with constant power needs a heartbeat contact and the loop input."
            )
        self.arming = self.arming.begin(
            now_s,
            has_loop_input=Input.LOOP_CLOSED in self.setup.wired,
            with_heartbeat_test=with_heartbeat_test,
            pace=self.pace,
        )

    def disarm(self) -> None:
        """Undo arming; harmless when nothing is armed."""
        self.arming = self.arming.disarm()

    def refuse_start(self, now_s: float) -> None:
        """Raise CommandRefused saying what at the box stands in the way of a start."""
        if self._is_etching:
            raise CommandRefused("A run is already under way.")
        if not self.arming.is_armed:
            raise CommandRefused(self.arming.failed_because or "Arm the box at the machine first.")
        self._refuse_if_unsafe(now_s, Phase.ARMED)
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._refuse_if_not_extracted()

    def begin_run(self, wish: StartWish, now_s: float) -> dict[str, object]:
        """Let a run start, which uses up the arming, and return what its record has to say.

        Raise CommandRefused saying why not.
        """
        self.refuse_start(now_s)
        if wish.has_constant_power and not self.arming.is_heartbeat_proven:
            raise CommandRefused(
                "This file can hold the beam on at standstill. It runs only after the heartbeat's "
                "contact was seen to open at this arming."
            )
        refuse_without_people(wish, self.attendance, wired=self.setup.wired)
        record = record_of_start(wish, self.setup, self.arming, self.checklist)
        self._is_etching = True
        self.disarm()
        self.senses.presence = self.senses.presence.used()
        self.rounds = self.rounds.begin(now_s)
        self.checklist.note_run_started()
        return record

    def end_run(self) -> None:
        """Note that the run is over: no beam, and arming begins anew."""
        self.cut_beam()
        self._is_etching = False
        self.rounds = self.rounds.end()
        self.disarm()

    def resume_run(self, now_s: float) -> None:
        """Let a held run go on; raise CommandRefused unless all is safe and somebody is there."""
        if not self._is_etching:
            raise CommandRefused("No run is held.")
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._refuse_if_not_extracted()
        if not self.senses.presence.is_fresh(now_s):
            raise CommandRefused(
                "A phone alone cannot resume. Press the button at the machine (or, where there "
                "is none, open and close the lid, then reset) and resume within a minute."
            )
        self.senses.presence = self.senses.presence.used()
        self.rounds = self.rounds.begin(now_s)

    def allow_beam(self, now_s: float) -> None:
        """Wish for the beam's contact to close; raise CommandRefused when it must not."""
        if not self._is_etching:
            raise CommandRefused("There is no run, so there is no beam.")
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._is_beam_wanted = True

    def cut_beam(self) -> None:
        """Wish for the beam's contact to open."""
        self._is_beam_wanted = False

    @property
    def settle_s(self) -> float:
        """How long after `allow_beam` the beam can be counted on: contact, laser, and a look."""
        contact_s = self._beam.contact_s + SPARE_S * self.pace.contacts
        return max(contact_s, self.setup.beam_enable_settle_s)

    def may_burn(self, now_s: float) -> bool:
        """Return whether the beam's contact is closed, has settled, and nothing speaks against."""
        is_settled = self._beam.is_on and self._beam.has_moved(now_s)
        return is_settled and self.judge(now_s).reaction < Reaction.HOLD

    def reset(self, names: Collection[str], now_s: float) -> tuple[Trip, ...]:
        """Reset the trips a person was shown; see `Latch.reset`."""
        is_there = self.senses.presence.is_fresh(now_s)
        return self.latch.reset(names, self.senses.found(now_s), is_somebody_there=is_there)

    def try_output(self, name: str, *, is_on: bool, now_s: float) -> None:
        """Try an output for a moment, or leave off; raise CommandRefused."""
        if is_on and not self.is_free:
            raise CommandRefused(
                "Outputs can be tried only while nothing is armed, etched or waiting for a reset."
            )
        self.wiring.begin(name, is_on=is_on, now_s=now_s, is_fan_on=self.senses.fan.is_on)

    def answer_round(self, now_s: float) -> None:
        """Note that somebody is within reach; raise CommandRefused when nobody was asked."""
        if not self.rounds.is_asking:
            raise CommandRefused("No watch round is waiting for an answer.")
        self.rounds = self.rounds.answer(now_s)

    def drive(self, *, is_on: bool, now_s: float) -> None:
        """Note what the beam's contact was really told."""
        if is_on is not self._beam.is_on:
            self._beam = replace(self._beam, is_on=is_on, since_s=now_s)

    def _go_on_arming(self, look: Look, found: Collection[Finding]) -> None:
        in_the_way = what_undoes(self.arming, self.latch.trips, found)
        if in_the_way is not None:
            self.arming = self.arming.disarm(in_the_way)
            return
        loop = look.levels.get(Input.LOOP_CLOSED)
        is_lid_open = any(finding.rule.requires is Condition.LID_CLOSED for finding in found)
        self.arming = self.arming.advance(
            is_loop_closed=None if loop is None else loop.is_closed,
            presence_at_s=None if is_lid_open else self.senses.presence.at_s,
            now_s=look.now_s,
        )

    def _outputs(self, reaction: Reaction, now_s: float) -> Mapping[Output, bool]:
        is_safe = reaction < Reaction.TRIP
        is_beam_on = is_safe and (
            (self._is_etching and self._is_beam_wanted) or self.arming.tests_beam
        )
        is_withheld = self.arming.withholds_heartbeat or self.wiring.tries(Output.HEARTBEAT)
        trips = self.latch.trips
        is_buzzing = is_buzzer_on(
            reaction,
            tripped_for_s=now_s - trips[-1].at_s if trips else 0.0,
            is_round_asking=self.rounds.is_asking,
            now_s=now_s,
        )
        is_lit = is_lamp_on(self.phase, now_s)
        outputs = {
            Output.BEAM_ENABLE: is_beam_on,
            Output.EXTRACTION: self.senses.fan.is_on,
            Output.LAMP: is_lit or self.wiring.tries(Output.LAMP),
            Output.BUZZER: is_buzzing or self.wiring.tries(Output.BUZZER),
            Output.HEARTBEAT: self._steering.beat(now_s, is_withheld=is_withheld),
        }
        return {output: is_on for output, is_on in outputs.items() if output in self.setup.wired}

    def _refuse_if_unsafe(self, now_s: float, phase: Phase) -> None:
        if self.latch.trips:
            raise CommandRefused(f"Reset first: {self.latch.trips[0].sentence}")
        for finding in self.senses.found(now_s):
            if finding.reaction(phase) >= Reaction.FORBID:
                raise CommandRefused(finding.sentence)

    def _refuse_if_not_extracted(self) -> None:
        if Output.EXTRACTION in self.setup.wired and not self.senses.fan.is_ready:
            raise CommandRefused(self.senses.fan.sentence)
