"""The course of one run: which sequence follows which, and what ends it."""

from collections.abc import Callable, Mapping
from math import dist
from typing import Any, Final

from etchdaemon.controller.events import (
    AlarmRaised,
    Event,
    Greeted,
    Place,
    StatusReported,
    Unreadable,
)
from etchdaemon.controller.opening import From
from etchdaemon.controller.orders import Order, Sequence
from etchdaemon.errors import CommandRefused, EtchdaemonError
from etchdaemon.interlocks.rules import Reaction
from etchdaemon.interlocks.watch import Verdict
from etchdaemon.ports import Guard
from etchdaemon.run import audit
from etchdaemon.run.holding import Arriving, Enabling, HoldingNow
from etchdaemon.run.resetting import Emergency
from etchdaemon.run.states import Life, State, Turn, Wish
from etchdaemon.run.stopping import REST_PATIENCE_S, Stopping, braking_s
from etchdaemon.service import faults
from etchdaemon.service.etch import Etch
from etchdaemon.service.machine import Machine
from etchwire.record import HELD, HOLD, RESUMED, TRIP

LONGEST_PAUSE_S: Final = 1.0
_FEEDING: Final = frozenset((State.ETCHING, State.HOLDING))


class Course:
    """Takes a run from its first line to its end, whatever happens on the way.

    It is over when the life's state is no longer under way. Whatever touches the port raises
    PortLost, to which `lose` is the answer.
    """

    def __init__(
        self, etch: Etch, *, machine: Machine, life: Life, guard: Guard, now_s: float
    ) -> None:
        self.etch = etch
        self._machine = machine
        self._life = life
        self._guard = guard
        head, recipe = etch.job.sheet.head, etch.job.sheet.recipe
        self._rest_patience_s = REST_PATIENCE_S + braking_s(
            feed_mm_per_min=max(recipe.feed_mm_per_min, head.max_feed_mm_per_min),
            acceleration_mm_per_s2=head.acceleration_mm_per_s2,
        )
        self._last_look_s = now_s
        machine.begin(Enabling(guard.settle_s), now_s)

    # What a person may ask for.

    def hold(self, now_s: float) -> None:  # noqa: ARG002 - one signature for the table
        """Come to rest at the end of the row of which any byte was sent."""
        self._hold_for("You asked for a hold at the row's end.")

    def hold_now(self, now_s: float) -> None:
        """Come to rest where the head is."""
        self._life.turn(Wish.HOLD_NOW)
        self.etch.stop_feeding()
        self.etch.held_because = "You asked for a hold at once."
        self.etch.note(HOLD, self.etch.held_because)
        self._machine.begin(HoldingNow(self._rest_patience_s), now_s)

    def resume(self, now_s: float) -> None:
        """Go on; raise LogbookUnavailable when that cannot be written down first."""
        report = self._machine.report
        if report is None or not (report.is_idle or report.is_held):
            raise CommandRefused("The machine is not ready to go on. Is its lid closed?")
        if self._life.state is State.HELD:
            self._guard.resume_run()
            self._guard.note_steered(now_s, is_waiting=True)
            self.etch.confirm(RESUMED, "You let the etch go on.")
        self._life.turn(Wish.RESUME)
        enabling = Enabling(self._guard.settle_s, starts_cycle=self.etch.is_held_in_motion)
        self._machine.begin(enabling, now_s)

    def stop(self, now_s: float, because: str = "You stopped it.") -> None:
        """Come to rest, empty the controller, and end the run."""
        is_first = self._life.state is not State.STOPPING
        self._life.turn(Wish.STOP)
        if is_first:
            self._decide("stopped", because)
            self._begin_stopping(now_s, cuts_first=False)

    def wind_down(self, now_s: float) -> None:
        """End the run because the daemon has to: the beam first."""
        self._cut(now_s)
        if self.etch.ending is None:
            self._decide("stopped", "The daemon was told to end.")
        self._life.turn(Turn.FAULT_FOUND)
        if not isinstance(self._machine.sequence, (Stopping, Emergency)):
            self._begin_stopping(now_s, cuts_first=True)

    # What happens.

    def obey(self, verdict: Verdict, now_s: float) -> None:
        """Do what the interlocks ask; the guard has put the beam out where that is part of it."""
        for trip in verdict.fresh:
            reaction = trip.reaction.name.lower()
            self.etch.note(TRIP, trip.sentence, rule=trip.rule.name, reaction=reaction)
        if verdict.reaction is Reaction.EMERGENCY:
            self._reset_for(verdict.sentence, now_s)
        elif verdict.reaction is Reaction.TRIP:
            self._trip(verdict.sentence, now_s)
        elif verdict.reaction is Reaction.HOLD and self._life.state is State.ETCHING:
            self._hold_for(verdict.sentence)

    def note(self, event: Event, now_s: float) -> None:
        """Take note of what the controller said."""
        match event:
            case StatusReported():
                self.etch.note_report(event, asked_at_s=self._machine.asked_at_s, now_s=now_s)
            case Greeted():
                self._restarted(now_s)
                return
            case Unreadable() if not event.may_be_a_reply:
                self.etch.warn("A report of the controller came damaged: the cable is disturbed.")
        facts = self._machine.facts
        fault = faults.fault_of(event, self._life.state, facts.firmware if facts else None)
        if fault is None and isinstance(event, StatusReported) and self.etch.is_astray(event):
            fault = faults.ASTRAY
        if fault is not None:
            self._fail(fault, now_s)
            if isinstance(event, AlarmRaised) and self._machine.sequence is not None:
                self._machine.carry_out(self._machine.sequence.hear(event, now_s), now_s)

    def go_on(self, now_s: float) -> None:
        """Do what follows from the time, and from what was noted."""
        self._notice_a_pause(now_s)
        sequence = self._machine.tick(now_s)
        if sequence is not None:
            _CONCLUSIONS[type(sequence)](self, sequence, now_s)
        is_being_stopped = isinstance(self._machine.sequence, (Stopping, Emergency))
        if not self._life.is_under_way or is_being_stopped:
            return
        if self._machine.is_silent:
            self._escalate(faults.SILENT, now_s)
        elif self._machine.has_lost_a_reply:
            self._fail(faults.LOST_REPLY, now_s)
        elif self._may_feed and self.etch.is_fed and not self._machine.lines_in_flight:
            self._machine.begin(Arriving(), now_s)

    def lines(self, now_s: float) -> list[bytes]:
        """Return the lines that may be sent now."""
        if not self._may_feed:
            return []
        try:
            return self.etch.take_lines(self._machine.free_bytes)
        except EtchdaemonError as error:
            self._fail(str(error), now_s)
            return []

    def lose(self, sentence: str) -> None:
        """End the run because the port is gone."""
        self._decide("failed", sentence)
        self._end(is_position_known=False)

    # How sequences end.

    def _enabled(self, enabling: Enabling, now_s: float) -> None:
        if enabling.has_failed:
            self._fail(faults.NOT_MOVING, now_s)
        elif not self._guard.may_burn(now_s):
            self._fail(faults.NO_BEAM, now_s)
        elif self._life.state is State.RESUMING:
            self._life.turn(Turn.MOVED_ON)
            self.etch.feed_on()

    def _held_now(self, holding: HoldingNow, now_s: float) -> None:
        if holding.has_failed or holding.rest is None:
            self._escalate(faults.NOT_AT_REST, now_s)
            return
        self.etch.is_held_in_motion = holding.rest.is_held
        self.etch.note_cut(holding.rest)
        self._held()

    def _arrived(self, arriving: Arriving, now_s: float) -> None:
        place_mm = arriving.rest.work_mm if arriving.rest is not None else None
        if self.etch.is_fed_to_its_end:
            self._complete(place_mm)
            return
        planned_mm = self.etch.row_end_mm()
        if planned_mm is not None and (
            place_mm is None or dist(place_mm[:2], planned_mm) > audit.TOLERANCE_MM
        ):
            self._fail(faults.NOT_AT_ROW_END, now_s)
            return
        self.etch.row_held()
        self._held()

    def _complete(self, place_mm: Place | None) -> None:
        self._machine.cut_beam()
        found = audit.objections(
            lines_sent=self.etch.feed.lines_sent,
            lines_accepted=self.etch.lines_accepted,
            place_mm=place_mm,
            planned_mm=self.etch.job.ends_at_mm,
        )
        if found:
            self._decide("failed", " ".join(found))
        else:
            self.etch.completed()
            self._decide("complete", "Every line was answered and the head is where it should be.")
        self._end()

    def _stopped(self, stopping: Stopping, now_s: float) -> None:
        if stopping.has_failed:
            self._escalate(faults.NOT_AT_REST, now_s)
            return
        self.etch.note_cut(stopping.rest)
        self._end(is_position_known=stopping.is_position_known)
        was_asked_for = stopping.rest is not None
        self._machine.open_again(From.GREETING if was_asked_for else From.UNASKED_GREETING, now_s)

    def _reset_over(self, emergency: Emergency, now_s: float) -> None:
        self._end(is_position_known=False)
        if emergency.has_answered:
            self._machine.open_again(From.GREETING, now_s)
        else:
            self._machine.give_up_on(faults.DOES_NOT_ANSWER, now_s)

    # The ways into a sequence.

    def _hold_for(self, because: str) -> None:
        self._life.turn(Wish.HOLD)
        self.etch.hold_at_row_end()
        self.etch.held_because = because
        self.etch.note(HOLD, because)

    def _trip(self, because: str, now_s: float) -> None:
        """Bring to rest and end as stopped; a machine that rests already is left to rest."""
        if self._life.state is State.HELD:
            self.etch.held_because = because
        elif self._life.state is not State.STOPPING:
            self._cut(now_s)
            self._decide("stopped", because)
            self._life.turn(Turn.FAULT_FOUND)
            self._begin_stopping(now_s, cuts_first=True)

    def _reset_for(self, because: str, now_s: float) -> None:
        if not isinstance(self._machine.sequence, Emergency):
            self._cut(now_s)
            self._escalate(because, now_s)

    @property
    def _may_feed(self) -> bool:
        return self._life.state in _FEEDING and self._machine.sequence is None

    def _held(self) -> None:
        self._machine.cut_beam()
        self._life.turn(Turn.CAME_TO_REST)
        self.etch.note(HELD, "The machine stands still and the beam is off.")

    def _restarted(self, now_s: float) -> None:
        if isinstance(self._machine.sequence, (Stopping, Emergency)):
            return  # they wait for it, or judge it themselves
        self._machine.carry_out((Order.CUT_BEAM, Order.DISCARD_OUTPUT), now_s)
        self._decide("failed", faults.RESTARTED)
        self._end(is_position_known=False)
        self._machine.open_again(From.UNASKED_GREETING, now_s)

    def _cut(self, now_s: float) -> None:
        if self._machine.is_beam_allowed:
            self._machine.cut_beam()
            self.etch.mark_cut(now_s)

    def _fail(self, because: str, now_s: float) -> None:
        """Cut, bring to rest, and end as failed."""
        self._cut(now_s)
        self._decide("failed", because)
        self._life.turn(Turn.FAULT_FOUND)
        if not isinstance(self._machine.sequence, (Stopping, Emergency)):
            self._begin_stopping(now_s, cuts_first=True)

    def _escalate(self, because: str, now_s: float) -> None:
        """Cut and reset at once: nobody can wait for this machine."""
        self._decide("failed", because)
        self._life.turn(Turn.FAULT_FOUND)
        self._machine.begin(Emergency(), now_s)

    def _begin_stopping(self, now_s: float, *, cuts_first: bool) -> None:
        self.etch.stop_feeding()
        stopping = Stopping(cuts_first=cuts_first, patience_s=self._rest_patience_s)
        self._machine.begin(stopping, now_s)

    def _decide(self, ended: str, because: str) -> None:
        """Settle how the run ends; the first fault stays the reason, but outweighs a stop."""
        kind = "fault" if ended == "failed" else ended
        self.etch.note(kind, because)
        if self.etch.ending is None or (ended == "failed" and self.etch.ending[0] != "failed"):
            self.etch.ending = (ended, because)

    def _end(self, *, is_position_known: bool = True) -> None:
        self._life.turn(Turn.RUN_ENDED)
        self._guard.end_run()
        self.etch.end(is_position_known=is_position_known)

    def _notice_a_pause(self, now_s: float) -> None:
        pause_s = now_s - self._last_look_s
        self._last_look_s = now_s
        if pause_s > LONGEST_PAUSE_S:
            self.etch.warn(f"The daemon was held up for {pause_s:.1f} s.")


_CONCLUSIONS: Final[Mapping[type[Sequence], Callable[[Course, Any, float], None]]] = {
    Enabling: Course._enabled,
    HoldingNow: Course._held_now,
    Arriving: Course._arrived,
    Stopping: Course._stopped,
    Emergency: Course._reset_over,
}
