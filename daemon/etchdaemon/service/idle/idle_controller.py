"""What goes on between runs: jobs come and go, the controller does chores, a start is prepared."""

from datetime import datetime, timedelta
from typing import Any, Final

from etchdaemon.controller.beam_off import BeamOff
from etchdaemon.controller.controller_command import NO_ANSWER, RESTARTED, ControllerCommand
from etchdaemon.controller.facts import Facts
from etchdaemon.controller.opening import From
from etchdaemon.controller.orders import Sequence
from etchdaemon.errors import CommandRefused, EtchdaemonError, JobRefused
from etchdaemon.guard.guard import Guard
from etchdaemon.interlocks.attendance.attendance_calls import AttendanceNote
from etchdaemon.interlocks.engine import NOT_ARMED, UNDER_WAY
from etchdaemon.interlocks.start.starting import StartRequest
from etchdaemon.ports import Clock, Preflight, Records, RunNote
from etchdaemon.run import position_epoch
from etchdaemon.run.measuring import Measuring
from etchdaemon.run.moving import Moving
from etchdaemon.run.states import Command, RunOccurrence, RunStateMachine, State, next_state
from etchdaemon.service.command_queue import Request
from etchdaemon.service.idle.controller_commands import command_for
from etchdaemon.service.idle.interlock_commands import CAN_BE_ARMED
from etchdaemon.service.idle.job_origin import FIND_ORIGIN, WRITES_ORIGIN, JobOrigin
from etchdaemon.service.idle.jog_controller import JogController
from etchdaemon.service.idle.moves import AnyMove
from etchdaemon.service.job import compatibility
from etchdaemon.service.job.inspection import CHANGED, Inspection
from etchdaemon.service.job.people_asked import asked_at_start
from etchdaemon.service.job.reentry import POSITION_GONE
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.bed import bed_of
from etchdaemon.service.link.machine import LinkState, Machine
from etchdaemon.service.run.etch import Etch
from etchdaemon.service.run.last_run import LastRun
from etchdaemon.service.run.run_sequencer import RunSequencer
from etchwire.calls.call import AnyCall
from etchwire.calls.history import RunSummary
from etchwire.calls.machine import Arm, Load, LoadedJob, Reenter, Start
from etchwire.controller.profile import EIGHT_BIT

NO_JOB: Final = "No job came along."
JUST_ASKED: Final = "The machine is still busy with what was asked before; wait a moment."
NOTHING_TO_ARM: Final = "Arming comes before a start: load a picture first."
NOT_BETWEEN_RUNS: Final = "This can be done only while nothing is being etched."
HEAD_MOVES: Final = "The head is moving. Wait until it is there, or stop it."
IS_ASKED: Final = "The controller is just being asked what it is set to; wait a moment."
# What may have happened to the controller where a line of ours was not answered.
_ENDS_EPOCH: Final = {
    NO_ANSWER: position_epoch.SILENT,
    RESTARTED: position_epoch.RESTARTED,
}


class IdleController:
    """Holds the job that is loaded, and the request that waits for the controller.

    `sequencer` is the run that was started last, until another job is loaded.
    """

    def __init__(
        self,
        *,
        machine: Machine,
        run_state: RunStateMachine,
        clock: Clock,
        records: Records,
        guard: Guard,
        preflight: Preflight,
    ) -> None:
        self.inspection = Inspection(preflight)
        self.jog = JogController(machine, guard)
        self.last_run = LastRun(machine)
        self.origin = JobOrigin(machine=machine, guard=guard, records=records, clock=clock)
        self.job: SpooledJob | None = None
        self.sequencer: RunSequencer | None = None
        self.pending: Request[Any] | None = None  # answered when the sequence in hand is over
        self._machine = machine
        self._run_state = run_state
        self._clock = clock
        self._records = records
        self._guard = guard

    def load(self, request: Request[Load | Reenter], now_s: float) -> None:  # noqa: ARG002 - the table's signature
        """Take a job, unless the controller, as far as it is known, cannot run it."""
        self._refuse_while_pending()
        next_state(self._run_state.state, Command.LOAD)
        prepared = request.prepared
        if prepared is None:
            raise CommandRefused(NO_JOB)
        job = prepared.job
        self._refuse_unfit(job)
        self._refuse_moved(job)
        self._run_state.turn(Command.LOAD)
        self.note_ended()
        self.job, self.sequencer = job, None
        self.inspection.take(job)
        self._records.note_loaded(job.sheet.gcode_sha256)
        self._keep_up()
        request.accept(LoadedJob(job_sha256=job.sheet.gcode_sha256, sentence=prepared.sentence))

    def unload(self, request: Request[AnyCall], now_s: float) -> None:  # noqa: ARG002
        """Put the job away."""
        self._refuse_while_pending()
        self._run_state.turn(Command.UNLOAD)
        self.note_ended()
        self.job = self.sequencer = None
        self.inspection.take(None)
        self._records.note_loaded(None)
        request.accept()

    def arm(self, request: Request[Arm], now_s: float) -> None:
        """See that the controller's beam is off; the box's own tests follow, which close K2."""
        self._refuse_while_pending()
        if self._run_state.is_under_way:
            raise CommandRefused(UNDER_WAY)
        if self._run_state.state not in CAN_BE_ARMED:
            raise CommandRefused(NOTHING_TO_ARM)
        facts = self._machine.facts
        if not self._machine.is_ready or facts is None or facts.firmware is None:
            raise CommandRefused(self._machine.sentence)
        self.refuse_unplaced()
        self._refuse_too_late()
        self.inspection.acknowledge(request.call.acknowledge)
        self.pending = request
        self._machine.begin(BeamOff(facts.firmware), now_s)

    def start(self, request: Request[Start], now_s: float) -> None:
        """Ask the controller anew what it is set to; the start follows when it has answered."""
        self._refuse_while_pending()
        if self._run_state.state not in CAN_BE_ARMED:
            next_state(self._run_state.state, Command.START)
        if not self._machine.is_ready:
            raise CommandRefused(self._machine.sentence)
        self._keep_up()
        self.inspection.acknowledge(request.call.acknowledge)
        self.refuse_unplaced()
        self._refuse_unarmed()  # last: everything else comes before somebody goes to the machine
        self.pending = request
        self._machine.open_again(From.REST, now_s)

    def run_controller_command(self, request: Request[AnyCall], now_s: float) -> None:
        """Have the controller do something; it is answered when that is done.

        Homing lasts longer than anybody wants to wait: it is answered when it has begun, and
        what came of it is said of the machine.
        """
        self._refuse_while_pending()
        if self._run_state.is_under_way:
            raise CommandRefused(NOT_BETWEEN_RUNS)
        if self._machine.sequence is not None:
            raise CommandRefused(HEAD_MOVES if self.jog.is_under_way else IS_ASKED)
        command = request.command
        sequence = (
            self.origin.finding()
            if command == FIND_ORIGIN
            else command_for(command, self._machine.facts)
        )
        self.note_ended()
        self.last_run.lose_place()
        self.jog.outcome_text = ""
        if command in WRITES_ORIGIN:
            self._machine.epoch.origin = None  # until it is read back
        self._guard.operator.disarm()
        self._machine.begin(sequence, now_s)
        if sequence.is_homing:
            self._machine.epoch.note_move()
            request.accept()
        else:
            self.pending = request

    def move(self, request: Request[AnyMove], now_s: float) -> None:
        """Move the head; answered when it has begun."""
        self._refuse_while_pending()
        if self._run_state.is_under_way:
            raise CommandRefused(NOT_BETWEEN_RUNS)
        self.jog.begin(request.call, job=self.job, now_s=now_s)
        request.accept()

    def advance(self, now_s: float) -> None:
        """Answer what waited for the controller, and look after it."""
        ended = self._machine.tick(now_s)
        if ended is not None:
            self._conclude(ended, now_s)
        self._machine.look_after(now_s)
        self._keep_up()
        if self._run_state.state is State.STARTING and self._machine.link is not LinkState.OPENING:
            self._run_state.turn(RunOccurrence.MACHINE_SEEN)

    def _conclude(self, ended: Sequence, now_s: float) -> None:
        if (
            isinstance(ended, (Moving, Measuring, ControllerCommand, BeamOff))
            and ended.failure in _ENDS_EPOCH
        ):
            self._machine.epoch.end(_ENDS_EPOCH[ended.failure])
        match ended:
            case Moving() | Measuring():
                self._moved(ended, now_s)
            case ControllerCommand():
                self._controller_command_done(ended, now_s)
            case BeamOff():
                self._beam_off_seen(ended, now_s)
            case _:
                self._asked_anew()

    def _asked_anew(self) -> None:
        """Go on with what waited for the controller to say again what it is set to."""
        self.jog.look()
        request, self.pending = self.pending, None
        if request is not None and request.command in WRITES_ORIGIN:
            self._take_origin(request)
        elif request is not None:
            self._begin(request)

    def _moved(self, ended: Moving | Measuring, now_s: float) -> None:
        facts = self._machine.facts
        if isinstance(ended, Measuring) and ended.failure is None and facts is not None:
            self._machine.measured.note(ended, facts)
        self.jog.moved(ended, now_s)

    def note_ended(self) -> None:
        """Remember of the run that has ended what it left."""
        etch = None if self.sequencer is None else self.sequencer.etch
        if etch is not None and etch.ended_at_s is not None:
            self.last_run.note(etch, self.inspection.kinds)

    def recall_end(self, run: RunSummary) -> None:
        """Take over the run of the logbook that ended last: after it somebody has to look.

        A clock that was set back since says that it has ended just now, and so does a record
        from elsewhere that has no such time.
        """
        try:
            ended_at = datetime.fromisoformat(run.ended_at_utc or "")
            since = datetime.fromisoformat(self._clock.utc_now()) - ended_at
        except (TypeError, ValueError):
            since = timedelta()
        ago_s = max(0.0, since.total_seconds())
        self.last_run.began = (run.id, self._clock.now_s() - ago_s - (run.elapsed_s or 0.0))
        self._guard.recall_end(ago_s)

    def record_look(self, note: AttendanceNote) -> None:
        """Write into the record of the run that has ended what came of a look after its end."""
        if self.last_run.began is None:
            return
        run, began_at_s = self.last_run.began
        run_note = RunNote(
            run=run,
            at_s=self._clock.now_s() - began_at_s,
            at_utc=self._clock.utc_now(),
            kind=note.kind,
            text=note.text,
            details={},
        )
        self._records.note_event(run_note)

    def refuse_unplaced(self) -> None:
        """Raise CommandRefused where the job must not start from where the origin is."""
        objection = self.origin.objection(self.job)
        if objection is not None:
            raise CommandRefused(objection)

    def handle_port_loss(self, sentence: str) -> None:
        """Refuse what waits for a controller that is gone."""
        self.jog.handle_port_loss(sentence)
        if self.pending is not None:
            self.pending.refuse(CommandRefused(sentence))
            self.pending = None

    def _begin(self, request: Request[Start]) -> None:
        """Start the run, now that the controller has said again what it is."""
        try:
            self._refuse_unarmed()  # it may have been disarmed meanwhile
            etch = self._start_etch(request.call)
        except EtchdaemonError as error:
            request.refuse(error)
            return
        self._run_state.turn(Command.START)
        self.origin.note_run(etch.number)
        self.last_run.forget()
        self.sequencer = RunSequencer(
            etch, machine=self._machine, run_state=self._run_state, guard=self._guard
        )
        request.accept()

    def _refuse_unarmed(self) -> None:
        """Raise CommandRefused unless the box is armed, saying what it lacks."""
        if self._run_state.state in CAN_BE_ARMED:
            raise CommandRefused(self._guard.operator.why_not_start() or NOT_ARMED)
        next_state(self._run_state.state, Command.START)

    def _start_etch(self, start: Start) -> Etch:
        job, facts = self.job, self._machine.facts
        if job is None or facts is None or self._machine.link is not LinkState.READY:
            raise CommandRefused(self._machine.sentence)
        self._machine.epoch.read_back(facts)
        self.refuse_unplaced()
        self._refuse_unfit(job)
        self._refuse_moved(job)
        self._refuse_uninspected()
        box = self._guard.begin_run(self._start_request(start, job))
        self._guard.note_loop_alive(is_waiting=True)
        try:
            notes = {"box": box, "preflight": self.inspection.record()}
            etch = Etch.start(
                job, facts=facts, records=self._records, clock=self._clock, notes=notes
            )
        except EtchdaemonError:
            self._guard.end_run()
            raise
        etch.has_constant_power = self.inspection.has_constant_power
        return etch

    def _start_request(self, start: Start, job: SpooledJob) -> StartRequest:
        return StartRequest(
            lasts_s=job.sheet.predicted_s / self._clock.seconds_per_wall_second,
            starts_at=datetime.fromisoformat(self._clock.utc_now()).astimezone(),
            has_constant_power=self.inspection.has_constant_power,
            has_acknowledged_long_run=start.acknowledge_long_run,
            stays_until_end=start.stays_until_end,
        )

    def _controller_command_done(self, command: ControllerCommand, now_s: float) -> None:
        if command.is_homing:
            self.jog.homed(command.failure)
        request = self.pending
        if request is not None and command.failure is not None:
            request.refuse(CommandRefused(command.failure))
            self.pending = None
        elif request is not None and request.command not in WRITES_ORIGIN:
            request.accept()
            self.pending = None
        self._machine.open_again(From.REST if command.failure is None else From.UNSURE, now_s)

    def _beam_off_seen(self, beam_off: BeamOff, now_s: float) -> None:
        """Go on with arming, unless the controller's beam may be on."""
        request, self.pending = self.pending, None
        if beam_off.failure is not None:
            self._machine.open_again(From.UNSURE, now_s)
        if request is None:
            return
        try:
            if beam_off.failure is not None:
                raise CommandRefused(beam_off.failure)
            self._guard.operator.arm(
                request.call.answers,
                day=self._clock.utc_now()[:10],
                with_heartbeat_test=request.call.test_heartbeat,
            )
        except EtchdaemonError as error:
            request.refuse(error)
        else:
            request.accept()

    def _take_origin(self, request: Request[AnyCall]) -> None:
        """Answer whoever set the origin, now that it was read back."""
        try:
            self.origin.take(request.command)
        except EtchdaemonError as error:
            request.refuse(error)
        else:
            request.accept()

    def _refuse_too_late(self) -> None:
        """Raise CommandRefused where closing time forbids the start, before anybody prepares it."""
        if self.job is None:
            return
        predicted_s = self.job.sheet.predicted_s
        asked = asked_at_start(self._guard, self._clock, predicted_s=predicted_s)
        if asked.too_late:
            raise CommandRefused(asked.too_late)

    def _refuse_while_pending(self) -> None:
        if self.pending is not None:
            raise CommandRefused(JUST_ASKED)

    def _refuse_moved(self, job: SpooledJob) -> None:
        self.note_ended()
        if job.needs_kept_position and not self.last_run.is_place_kept(job.continues_run):
            raise CommandRefused(POSITION_GONE)

    @property
    def _known(self) -> Facts | None:
        return self._machine.facts if self._machine.link is LinkState.READY else None

    def _keep_up(self) -> None:
        is_placed = self._machine.epoch.origin is not None
        facts = self._known
        costs = EIGHT_BIT.costs if facts is None else self._machine.measured.profile(facts).costs
        self.inspection.keep_up(facts, bed_of(self._machine) if is_placed else None, costs)

    def _refuse_uninspected(self) -> None:
        """Refuse what was checked for other settings than the controller has now."""
        before = self.inspection.standing
        self._keep_up()
        if self.inspection.standing != before:
            raise CommandRefused(CHANGED)
        self.inspection.acknowledge(())

    def _refuse_unfit(self, job: SpooledJob) -> None:
        facts = self._known
        objections = () if facts is None else compatibility.objections(job.sheet, facts)
        if objections:
            raise JobRefused(" ".join(objections))
