"""What is asked of the interlocks by people and by whoever steers, and why it is refused."""

from collections.abc import Collection, Mapping
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.attendance.attendance_calls import FROM_AFAR
from etchdaemon.interlocks.checks.wiring_gaps import watches_only_because
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.latch import Trip
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction
from etchdaemon.interlocks.start.starting import (
    StartRequest,
    record_of_start,
    refuse_without_people,
)
from etchdaemon.interlocks.watch import Watch

NOT_ARMED: Final = "Arm the box at the machine first."
UNDER_WAY: Final = "A run is under way; there is nothing to arm."


class Interlocks(Watch):
    """A watch of which something may be asked. What it refuses raises CommandRefused."""

    def arm(
        self,
        answers: Mapping[str, object],
        *,
        day: str,
        now_s: WallSeconds,
        with_heartbeat_test: bool = False,
    ) -> None:
        """Begin arming; raise CommandRefused saying what stands in the way."""
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
        """Raise CommandRefused saying what at the box stands in the way of a start."""
        if self._is_etching:
            raise CommandRefused("A run is already under way.")
        if not self.arming.is_armed:
            raise CommandRefused(self.required_action or self.arming.failed_because or NOT_ARMED)
        self._refuse_if_unsafe(now_s, Phase.ARMED)
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._refuse_if_not_extracted()

    def begin_run(self, request: StartRequest, now_s: WallSeconds) -> dict[str, object]:
        """Let a run start, which uses up the arming, and return what its record has to say.

        Raise CommandRefused saying why not.
        """
        self.refuse_start(now_s)
        if request.has_constant_power and not self.arming.is_heartbeat_proven:
            raise CommandRefused(
                "This file can hold the beam on at standstill. It runs only after the heartbeat's "
                "contact was seen to open at this arming."
            )
        refuse_without_people(request, self.attendance, wired=self.setup.wired)
        record = record_of_start(request, self.setup, self.arming, self.checklist)
        record["seen_to_open"] = self.proofs.record()
        record["safety_relay"] = self.relay.record()
        self._is_etching = True
        self._fault_at_s = None
        self.disarm()
        self.senses.presence = self.senses.presence.used()
        self.people.begin(now_s)
        self.checklist.note_run_started()
        return record

    def end_run(self) -> None:
        """Note that the run is over: no beam, and arming begins anew."""
        self.cut_beam()
        self._is_etching = False
        self.people.end()
        self.disarm()

    def resume_run(self, now_s: WallSeconds) -> None:
        """Let a held run go on; raise CommandRefused unless all is safe and somebody is there."""
        if not self._is_etching:
            raise CommandRefused("No run is held.")
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._refuse_if_not_extracted()
        if not self.senses.presence.is_recent(now_s):
            raise CommandRefused(
                "A phone alone cannot resume. Press the button at the machine (or, where there "
                "is none, open and close the lid, then reset) and resume within a minute."
            )
        self.senses.presence = self.senses.presence.used()
        self.people.begin(now_s)

    def allow_beam(self, now_s: WallSeconds) -> None:
        """Wish for the beam's contact to close; raise CommandRefused when it must not."""
        if not self._is_etching:
            raise CommandRefused("There is no run, so there is no beam.")
        self._refuse_if_unsafe(now_s, Phase.ETCHING)
        self._is_beam_wanted = True

    def test_relay(self, now_s: WallSeconds) -> bool:
        """Begin to test the safety relay at the end of a run; return whether that makes sense.

        The beam's contact must be closed and nothing may have tripped; the contact opens when
        the test is over. Whoever steers has seen the machine at rest and the controller's beam off.
        """
        is_fit = self.relay.can_be_tested and self._is_etching and self.may_burn(now_s)
        if is_fit:
            self.relay.begin_test(now_s)
        return is_fit

    def reset(self, names: Collection[str], now_s: WallSeconds) -> tuple[Trip, ...]:
        """Reset the trips a person was shown; see `Latch.reset`."""
        is_there = self.senses.presence.is_recent(now_s)
        return self.latch.reset(names, self.senses.found(now_s), is_somebody_there=is_there)

    def try_output(self, name: str, *, is_on: bool, now_s: WallSeconds) -> None:
        """Try an output for a moment, or leave off; raise CommandRefused."""
        if is_on and not self.is_free:
            raise CommandRefused(
                "Outputs can be tried only while nothing is armed, etched or waiting for a reset."
            )
        self.wiring.begin(name, is_on=is_on, now_s=now_s, is_fan_on=self.senses.fan.is_on)

    def answer_round(self, now_s: WallSeconds) -> None:
        """Take an answer from afar; raise CommandRefused when nobody was asked."""
        if self.people.asked_for is None:
            raise CommandRefused("Nobody is asked for: no watch round, and no look after the end.")
        self.people.answer(FROM_AFAR, now_s)

    def _refuse_if_unsafe(self, now_s: WallSeconds, phase: Phase) -> None:
        if self.latch.trips:
            raise CommandRefused(f"Reset first: {self.latch.trips[0].sentence}")
        for breach in self.senses.found(now_s):
            if breach.reaction(phase) >= Reaction.FORBID:
                raise CommandRefused(breach.sentence)

    def _refuse_if_not_extracted(self) -> None:
        if Output.EXTRACTION in self.setup.wired and not self.senses.fan.is_ready:
            raise CommandRefused(self.senses.fan.sentence)
