"""The ways in which a run ends: what is ordered, in which order, and what is written down."""

from typing import Final

from etchdaemon.controller.beam_off import BeamOff
from etchdaemon.controller.events import Place
from etchdaemon.controller.opening import From
from etchdaemon.controller.orders import Order
from etchdaemon.guard.guard import Guard
from etchdaemon.run import audit, position_epoch
from etchdaemon.run.relay_testing import RelayTesting
from etchdaemon.run.resetting import Emergency
from etchdaemon.run.states import Command, RunOccurrence, RunStateMachine, State
from etchdaemon.run.stopping import REST_TIMEOUT_S, Stopping, braking_s
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run import faults
from etchdaemon.service.run.etch import Etch

ALL_IS_WELL: Final = "Complete. Position verified."
TOLD_TO_END: Final = "The control program was told to end."


class RunTermination:
    """Ends one run, once, whoever or whatever asked for it.

    The first fault stays the reason; a fault outweighs a stop that a person had asked for.
    """

    def __init__(
        self, etch: Etch, *, machine: Machine, run_state: RunStateMachine, guard: Guard
    ) -> None:
        self._etch = etch
        self._machine = machine
        self._run_state = run_state
        self._guard = guard
        self._epoch = machine.epoch.number
        head, recipe = etch.job.sheet.head, etch.job.sheet.recipe
        self.rest_timeout_s = REST_TIMEOUT_S + braking_s(
            feed_mm_per_min=max(recipe.feed_mm_per_min, head.max_feed_mm_per_min),
            acceleration_mm_per_s2=head.acceleration_mm_per_s2,
        )

    @property
    def is_under_way(self) -> bool:
        """Whether the machine is being stopped or reset already."""
        return isinstance(self._machine.sequence, (Stopping, Emergency))

    @property
    def is_epoch_kept(self) -> bool:
        """Whether the coordinates mean the same places as when the run began."""
        return self._machine.epoch.number == self._epoch

    def stop(self, because: str, now_s: float) -> None:
        """Come to rest with the beam on till then, empty the controller, end as stopped."""
        if self._etch.has_constant_power:
            self._cut(now_s)
        is_first = self._run_state.state is not State.STOPPING
        self._run_state.turn(Command.STOP)
        if is_first:
            self._decide("stopped", because)
            self._begin_stopping(now_s, cuts_first=False)

    def trip(self, because: str, now_s: float) -> None:
        """Cut, come to rest, end as stopped; a machine that rests already is left to rest."""
        if self._run_state.state is State.HELD:
            self._etch.held_because = because
        elif self._run_state.state is not State.STOPPING:
            self._cut_and_stop("stopped", because, now_s)

    def wind_down(self, now_s: float) -> None:
        """Cut, come to rest, end as stopped, because the daemon has to end."""
        if self._etch.ending is None:
            self._cut_and_stop("stopped", TOLD_TO_END, now_s)
        self._cut(now_s)

    def fail(self, because: str, now_s: float) -> None:
        """Cut, come to rest, end as failed."""
        self._cut_and_stop("failed", because, now_s)

    def escalate(self, because: str, now_s: float) -> None:
        """Cut and reset at once: nobody can wait for this machine."""
        if isinstance(self._machine.sequence, Emergency):
            return
        self._cut(now_s)
        self._decide("failed", because)
        self._run_state.turn(RunOccurrence.FAULT_FOUND)
        self._machine.begin(Emergency(), now_s)

    def lose_control(self, because: str, now_s: float) -> None:
        """Escalate because the controller does not obey, and have the box stop its heartbeat."""
        self._guard.note_controller(obeys=False)
        self.escalate(because, now_s)

    def restart_seen(self, now_s: float) -> None:
        """Cut and end: the controller has restarted, unless that is what was asked of it."""
        if self.is_under_way:
            return  # the sequence waits for the greeting, or judges it itself
        self._machine.carry_out((Order.CUT_BEAM, Order.DISCARD_OUTPUT), now_s)
        self._decide("failed", faults.RESTARTED)
        self._end(is_position_known=False)
        self._machine.open_again(From.UNASKED_GREETING, now_s)

    def handle_port_loss(self, sentence: str) -> None:
        """End: the port is gone."""
        self._decide("failed", sentence)
        self._end(is_position_known=False)

    def complete(self, place_mm: Place | None, now_s: float) -> None:
        """End as complete, after a test of the safety relay, or as failed with the reason.

        That test is made here only: nothing has tripped, the machine rests, and the contact that
        the test needs closed is closed.
        """
        found = audit.objections(
            lines_sent=self._etch.feed.lines_sent,
            lines_accepted=self._etch.lines_accepted,
            place_mm=place_mm,
            planned_mm=self._etch.job.ends_at_mm,
        )
        if found:
            self._decide("failed", " ".join(found))
            self._rested()
            return
        self._etch.completed()
        self._decide("complete", ALL_IS_WELL)
        facts = self._machine.facts
        if self._guard.can_test_relay and facts is not None and facts.firmware is not None:
            self._machine.begin(BeamOff(facts.firmware), now_s)
        else:
            self._rested()

    def beam_off_seen(self, beam_off: BeamOff, now_s: float) -> None:
        """Test the safety relay where the controller's beam is off; else end without that."""
        if beam_off.failure is None and self._guard.test_relay():
            self._machine.begin(RelayTesting(self._guard.is_relay_tested), now_s)
            return
        self._rested()
        if beam_off.failure is not None:
            self._machine.open_again(From.UNSURE, now_s)

    def relay_tested(self) -> None:
        """End, and say so where the safety relay did not fall."""
        trouble = self._guard.relay_trouble
        if trouble is not None:
            self._etch.note("warning", trouble)
            self._etch.ending = ("complete", f"{ALL_IS_WELL} {trouble}")
        self._rested()

    def stopped(self, stopping: Stopping, now_s: float) -> None:
        """Go on after a stop: the machine rests, or does not."""
        if stopping.has_failed:
            self.lose_control(faults.NOT_AT_REST, now_s)
            return
        self._etch.note_cut(stopping.rest)
        self._end(is_position_known=stopping.is_position_known)
        was_asked_for = stopping.rest is not None
        self._machine.open_again(From.GREETING if was_asked_for else From.UNASKED_GREETING, now_s)

    def reset_over(self, emergency: Emergency, now_s: float) -> None:
        """Go on after an emergency: the controller has answered, or has not."""
        self._end(is_position_known=False)
        if emergency.has_answered:
            self._machine.open_again(From.GREETING, now_s)
        else:
            self._machine.give_up_on(faults.DOES_NOT_ANSWER, now_s)

    def _rested(self) -> None:
        """Cut and end, with the machine at rest."""
        self._machine.cut_beam()
        self._end(is_position_known=True)

    def _cut_and_stop(self, ended: str, because: str, now_s: float) -> None:
        self._cut(now_s)
        self._decide(ended, because)
        self._run_state.turn(RunOccurrence.FAULT_FOUND)
        if not self.is_under_way:
            self._begin_stopping(now_s, cuts_first=True)

    def _begin_stopping(self, now_s: float, *, cuts_first: bool) -> None:
        self._etch.stop_feeding()
        stopping = Stopping(cuts_first=cuts_first, timeout_s=self.rest_timeout_s)
        self._machine.begin(stopping, now_s)

    def _cut(self, now_s: float) -> None:
        if self._machine.is_beam_allowed:
            self._machine.cut_beam()
            self._etch.mark_cut(now_s)

    def _decide(self, ended: str, because: str) -> None:
        kind = "fault" if ended == "failed" else ended
        if ended == "failed":
            self._guard.note_fault()
        self._etch.note(kind, because)
        ending = self._etch.ending
        if ending is None or (ended == "failed" and ending[0] != "failed"):
            self._etch.ending = (ended, because)

    def _end(self, *, is_position_known: bool) -> None:
        self._run_state.turn(RunOccurrence.RUN_ENDED)
        self._guard.end_run()
        if not self.is_epoch_kept:
            is_position_known = False
        elif not is_position_known:
            self._machine.epoch.end(position_epoch.STOPPED_DEAD)
        self._etch.end(is_position_known=is_position_known)
