"""The course of one run: which sequence follows which, and what is noticed on the way."""

from math import dist
from typing import Final

from etchdaemon.controller.beam_off import BeamOff
from etchdaemon.controller.events import AlarmRaised, Event, Greeted, StatusReported, Unreadable
from etchdaemon.controller.orders import Sequence
from etchdaemon.errors import CommandRefused, EtchdaemonError
from etchdaemon.guard.guard import Guard
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.run import audit
from etchdaemon.run.holding import Arriving, Enabling, HoldingNow
from etchdaemon.run.overrides import Override, Overrides
from etchdaemon.run.relay_testing import RelayTesting
from etchdaemon.run.resetting import Emergency
from etchdaemon.run.states import Command, RunOccurrence, RunStateMachine, State
from etchdaemon.run.stopping import Stopping
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run import faults
from etchdaemon.service.run.etch import Etch
from etchdaemon.service.run.run_termination import RunTermination
from etchwire.catalogue.dose import DARKEST_PERCENT, LIGHTEST_PERCENT, feed_percent
from etchwire.record import HELD, HOLD, RESUMED, TRIP

NO_HOLD: Final = "With constant power the beam would burn on at rest, so it ends."
NOT_READY_TO_GO_ON: Final = "The machine is not ready to go on. Is its lid closed?"
_FEEDING: Final = frozenset((State.ETCHING, State.HOLDING))


class RunSequencer:
    """Takes a run from its first line to its end, whatever happens on the way.

    It is over when the life's state is no longer under way. Whatever touches the port raises
    PortLost, to which `termination.lose` is the answer.
    """

    def __init__(
        self, etch: Etch, *, machine: Machine, run_state: RunStateMachine, guard: Guard
    ) -> None:
        self.etch = etch
        self.termination = RunTermination(etch, machine=machine, run_state=run_state, guard=guard)
        self._machine = machine
        self._run_state = run_state
        self._guard = guard
        self._overrides = Overrides()
        self._board_trouble: str | None = None  # as it was told last
        # Not before the logbook has the start: on a slow card that took a while.
        machine.begin(Enabling(guard.has_settled), etch.started_at_s)

    # What a person may ask for.

    def hold(self, now_s: float, who: str = "") -> None:
        """Come to rest at the end of the row of which any byte was sent; `who` asked."""
        if self.etch.ending is not None:
            return  # it rests, and ends in a moment
        if self.etch.has_constant_power:
            self.termination.trip(f"{who or 'You'} asked for a hold. {NO_HOLD}", now_s)
            return
        self._hold_for(f"{who or 'You'} asked for a hold at the row's end.")

    def hold_now(self, now_s: float, who: str = "") -> None:
        """Come to rest where the head is; `who` asked."""
        if self.etch.ending is not None:
            return
        if self.etch.has_constant_power:
            self.termination.trip(f"{who or 'You'} asked for a hold. {NO_HOLD}", now_s)
            return
        self._run_state.turn(Command.HOLD_NOW)
        self.etch.stop_feeding()
        self.etch.held_because = f"{who or 'You'} asked for a hold at once."
        self.etch.note(HOLD, self.etch.held_because)
        self._machine.begin(HoldingNow(self.termination.rest_timeout_s), now_s)

    def why_not_resume(self) -> str | None:
        """Return what keeps the run from being resumed now, in a sentence, or None."""
        if self._run_state.state is not State.HELD:
            return None
        if self._report_at_rest is None:
            return NOT_READY_TO_GO_ON
        return self._guard.operator.why_not_resume()

    def resume(self, now_s: float) -> None:
        """Go on; raise LogbookUnavailable when that cannot be written down first."""
        report = self._report_at_rest
        if report is None:
            raise CommandRefused(NOT_READY_TO_GO_ON)
        if self._run_state.state is State.HELD:
            self._guard.resume_run()
            self._guard.note_loop_alive(is_waiting=True)
            now_s = self.etch.confirm(RESUMED, "You resumed the etch.")
        self._run_state.turn(Command.RESUME)
        starts_cycle = self.etch.is_held_in_motion or report.has_closed_door
        enabling = Enabling(self._guard.has_settled, starts_cycle=starts_cycle)
        self._machine.begin(enabling, now_s)

    def stop(self, now_s: float, who: str = "") -> None:
        """Come to rest, empty the controller, and end the run; `who` asked."""
        self.termination.stop(f"{who or 'You'} stopped it.", now_s)

    def override(self, override: Override, percent: int) -> None:
        """Change speed or power from here on, in percent of what the job says.

        With dynamic power the beam follows the speed, so a higher speed is a higher power too.
        """
        self._overrides.request(override, percent)
        self.etch.set_override(override, percent)
        also = " The power follows the speed." if override is Override.FEED else ""
        text = f"You set the {override.value} to {percent} %.{also}"
        self.etch.note("override", text, lever=override.value, percent=percent)

    def set_dose(self, percent: int) -> None:
        """Change the burn strength from here on, in percent of the recipe's.

        Raise CommandRefused for what no recipe was tried at.
        """
        if not LIGHTEST_PERCENT <= percent <= DARKEST_PERCENT:
            raise CommandRefused(
                f"{percent} % of the recipe's burn strength is not possible; choose from"
                f" {LIGHTEST_PERCENT} to {DARKEST_PERCENT}."
            )
        feed = feed_percent(self.etch.job.sheet.recipe.power_ratio, percent)
        if feed != self.etch.percent[Override.FEED]:
            self.override(Override.FEED, feed)
        self.override(Override.POWER, percent)

    # What happens.

    def apply_verdict(self, verdict: Verdict, now_s: float) -> None:
        """Do what the interlocks ask; the guard has put the beam out where that is part of it."""
        self.etch.loop_stalls.look(
            now_s, opened_at_s=verdict.opened_at_s, was_unwatched=verdict.was_unwatched
        )
        for trip in verdict.new_trips:
            reaction = trip.reaction.name.lower()
            self.etch.note(TRIP, trip.sentence, rule=trip.rule.name, reaction=reaction)
        if verdict.reaction is Reaction.EMERGENCY:
            self.termination.escalate(verdict.sentence, now_s)
        elif verdict.reaction is Reaction.TRIP:
            self.termination.trip(faults.why_tripped(verdict, self.etch.loop_stalls), now_s)
        elif verdict.reaction is Reaction.HOLD and self._may_hold:
            if self.etch.has_constant_power:
                self.termination.trip(verdict.sentence, now_s)
            else:
                self._hold_for(verdict.sentence)

    def note(self, event: Event, now_s: float) -> None:
        """Take note of what the controller said."""
        match event:
            case StatusReported():
                asked_at_s = self._machine.asked_at_s
                self.etch.note_report(event, asked_at_s=asked_at_s, now_s=now_s)
                self.etch.note_supply(
                    event,
                    in_flight_bytes=self._machine.window.taken_bytes,
                    held_bytes=self._machine.held_bytes(event),
                    now_s=now_s,
                )
                self._overrides.note_report(event, asked_at_s=asked_at_s)
            case Greeted():
                self.termination.restart_seen(now_s)
                return
            case Unreadable() if not event.may_be_a_reply:
                self.etch.warn("A report of the controller came damaged: the cable is disturbed.")
        facts = self._machine.facts
        fault = faults.fault_of(event, self._run_state.state, facts.firmware if facts else None)
        if fault is None and isinstance(event, StatusReported) and self.etch.is_astray(event):
            fault = faults.ASTRAY
            self.etch.has_strayed = True
        if fault is not None:
            self.termination.fail(fault, now_s)
            if isinstance(event, AlarmRaised):
                self._machine.tell(event, now_s)

    def advance(self, now_s: float) -> None:
        """Do what follows from the time, and from what was noted."""
        self._notice_a_pause()
        self._notice_trouble()
        sequence = self._machine.tick(now_s)
        if sequence is not None:
            self._conclude(sequence, now_s)
        if not self._run_state.is_under_way or self.termination.is_under_way:
            return
        if not self.termination.is_epoch_kept:
            self.termination.fail(self._machine.epoch.because, now_s)
        elif self._machine.reply_timeouts.is_silent:
            self.termination.lose_control(faults.SILENT, now_s)
        elif self._machine.reply_timeouts.has_lost_a_reply:
            self.termination.fail(faults.LOST_REPLY, now_s)
        elif self._may_feed and self.etch.is_fed and not self._machine.window.lines_in_flight:
            self._machine.begin(Arriving(), now_s)
        else:
            self._send_overrides(now_s)

    def lines(self, now_s: float) -> list[bytes]:
        """Return the lines that may be sent now."""
        if not self._may_feed:
            return []
        try:
            return self.etch.take_lines(self._machine.window.free_bytes)
        except EtchdaemonError as error:
            self.termination.fail(str(error), now_s)
            return []

    # How sequences end.

    def _conclude(self, sequence: Sequence, now_s: float) -> None:
        match sequence:
            case Enabling():
                self._enabled(sequence, now_s)
            case HoldingNow():
                self._held_now(sequence, now_s)
            case Arriving():
                self._arrived(sequence, now_s)
            case BeamOff():
                self.termination.beam_off_seen(sequence, now_s)
            case RelayTesting():
                self.termination.relay_tested()
            case Stopping():
                self.termination.stopped(sequence, now_s)
            case Emergency():
                self.termination.reset_over(sequence, now_s)
            case _:
                raise TypeError(f"nobody knows how {sequence!r} ends")

    def _enabled(self, enabling: Enabling, now_s: float) -> None:
        if enabling.has_failed:
            self.termination.fail(faults.NOT_MOVING, now_s)
        elif not self._guard.may_burn():
            self.termination.fail(faults.NO_BEAM, now_s)
        elif self._run_state.state is State.RESUMING:
            self._run_state.turn(RunOccurrence.MOVED_ON)
            self.etch.feed_on()

    def _held_now(self, holding: HoldingNow, now_s: float) -> None:
        if holding.has_failed or holding.rest is None:
            self.termination.lose_control(faults.NOT_AT_REST, now_s)
            return
        self.etch.is_held_in_motion = holding.rest.is_held
        self.etch.note_cut(holding.rest)
        self._held()

    def _arrived(self, arriving: Arriving, now_s: float) -> None:
        place_mm = arriving.rest.work_mm if arriving.rest is not None else None
        if self.etch.is_fed_to_its_end:
            self.termination.complete(place_mm, now_s)
            return
        planned_mm = self.etch.row_end_mm()
        if planned_mm is not None and (
            place_mm is None or dist(place_mm[:2], planned_mm) > audit.TOLERANCE_MM
        ):
            self.termination.fail(faults.NOT_AT_ROW_END, now_s)
            return
        self.etch.row_held()
        self._held()

    # Small steps.

    @property
    def _may_hold(self) -> bool:
        return self._run_state.state is State.ETCHING and self.etch.ending is None

    @property
    def _report_at_rest(self) -> StatusReported | None:
        """The last report, where it shows a machine that can go on."""
        report = self._machine.report
        if report is None or not (report.is_idle or report.is_held or report.has_closed_door):
            return None
        return report

    @property
    def _may_feed(self) -> bool:
        return self._run_state.state in _FEEDING and self._machine.sequence is None

    def _hold_for(self, because: str) -> None:
        self._run_state.turn(Command.HOLD)
        self.etch.hold_at_row_end()
        self.etch.held_because = because
        self.etch.note(HOLD, because)

    def _held(self) -> None:
        self._machine.cut_beam()
        self._run_state.turn(RunOccurrence.CAME_TO_REST)
        self.etch.note(HELD, "The machine stands still and the beam is off.")

    def _send_overrides(self, now_s: float) -> None:
        byte = self._overrides.next_byte(now_s)
        if byte is not None:
            self._machine.put(byte)
        failed, self._overrides.failed = self._overrides.failed, None
        if failed is not None:
            self.etch.warn(f"The controller does not take over the {failed.value} that was set.")

    def _notice_trouble(self) -> None:
        trouble = self._guard.trouble
        if trouble is not None and trouble != self._board_trouble:
            self.etch.warn(trouble)
        self._board_trouble = trouble

    def _notice_a_pause(self) -> None:
        if self.etch.loop_stalls.was_long:
            self.etch.warn(faults.held_up(self.etch.loop_stalls))
