"""The loop: look once at people, controller and time, then do what follows."""

from collections.abc import Callable, Mapping
from typing import Final

from etchdaemon.controller.parsing import ACCEPTED
from etchdaemon.controller.setting_list import settings_of
from etchdaemon.errors import CommandRefused, EtchdaemonError, PortLost
from etchdaemon.guard.guard import Guard
from etchdaemon.interlocks.rules.rule_table import Phase
from etchdaemon.ports import Clock, Preflight, Records
from etchdaemon.run.overrides import Override
from etchdaemon.run.states import MOVING, Command, RunStateMachine, State, next_state
from etchdaemon.service.command_queue import CommandQueue, Request
from etchdaemon.service.idle.controller_commands import CONTROLLER_COMMANDS
from etchdaemon.service.idle.idle_controller import IdleController
from etchdaemon.service.idle.interlock_commands import INTERLOCK_COMMANDS
from etchdaemon.service.idle.job_origin import FIND_ORIGIN
from etchdaemon.service.idle.moves import MEASURE, WAYS
from etchdaemon.service.job.people_asked import asked_at_start
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run.run_sequencer import RunSequencer
from etchdaemon.service.status.publishing import LoopState, Publishing
from etchwire.calls.call import AnyCall
from etchwire.calls.machine import Confirmations, SetDose, SetFeed, SetPower, Wiring
from etchwire.record import LOOK

AT_REST_S: Final = 0.02
GATHERING_S: Final = 0.003
STOPS_THE_HEAD: Final = (
    Command.STOP,
    Command.HOLD,
    Command.HOLD_NOW,
)  # where it moves between runs
MAY_MOVE_OR_BURN: Final = frozenset(
    (*CONTROLLER_COMMANDS, FIND_ORIGIN, *WAYS, MEASURE, "arm", "start")
)
NOT_ETCHING: Final = "Speed and power can be changed only while something is being etched."

CARD_AS_LAID_OUT: Final = (
    "Speed and power of a test card stay as it was laid out: its patches are compared."
)


class Service:
    """The daemon's one owner of the machine: whoever calls `step` moves everything on.

    It knows no thread; people reach it through `commands`. The guard is told at every step that
    the loop is alive, and asked what the interlocks want.
    """

    def __init__(
        self,
        *,
        machine: Machine,
        commands: CommandQueue,
        clock: Clock,
        records: Records,
        guard: Guard,
        preflight: Preflight,
    ) -> None:
        self._machine = machine
        self._commands = commands
        self._clock = clock
        self._guard = guard
        self._run_state = RunStateMachine()
        self._idle = IdleController(
            machine=machine,
            run_state=self._run_state,
            clock=clock,
            records=records,
            guard=guard,
            preflight=preflight,
        )
        self._publishing = Publishing(
            machine=machine, commands=commands, clock=clock, records=records, guard=guard
        )
        self.recall = self._idle.last_run.recall  # what an earlier life left unfinished
        self.recall_origin = self._idle.origin.recall  # and where its origin was
        self.recall_end = self._idle.recall_end  # and what is still to be looked at
        machine.cut_beam()
        self._show(clock.now_s())

    @property
    def is_under_way(self) -> bool:
        """Whether a run is."""
        return self._run_state.is_under_way

    @property
    def patience_s(self) -> float:
        """How long the next look may wait, when nobody rings, in the machine's seconds.

        What costs is waking up, hardly the lines: so answers are gathered, for no longer than a
        quarter of the 11 ms that a full window lasts at 115200 baud.
        """
        if not self.is_under_way and not self._machine.window.lines_in_flight:
            return AT_REST_S
        return GATHERING_S

    def step(self) -> None:
        """Look once, and do the one thing that follows."""
        now_s = self._clock.now_s()
        self._guard.note_loop_alive()
        try:
            self._apply_guard_verdict(now_s)
            for request in self._commands.take():
                self._handle(request, now_s)
                now_s = self._clock.now_s()  # a start and a resume wait for the logbook
            self._machine.moves_head = self._moves_head()
            self._read_events(now_s)
            self._advance(now_s)
            if self._machine.is_ready:
                self._guard.note_controller(obeys=True)
            self._idle.origin.look(is_under_way=self._run_state.is_under_way)
            sequencer = self._sequencer
            lines = () if sequencer is None else sequencer.lines(now_s)
            self._machine.send(lines, now_s)
        except PortLost as lost:
            self._handle_port_loss(str(lost), now_s)
        self._show(now_s)

    def wind_down(self) -> None:
        """Begin to end a run that is under way, because the daemon has to end."""
        now_s = self._clock.now_s()
        sequencer = self._sequencer
        if sequencer is not None:
            try:
                sequencer.termination.wind_down(now_s)
            except PortLost as lost:
                self._handle_port_loss(str(lost), now_s)

    def close(self) -> None:
        """Cut the beam and let go of port and files, whatever is under way."""
        self._machine.handle_port_loss("The control program has ended.", self._clock.now_s())
        if self._idle.sequencer is not None:
            self._idle.sequencer.etch.feed.close()

    @property
    def _sequencer(self) -> RunSequencer | None:
        """The run that is under way."""
        return self._idle.sequencer if self._run_state.is_under_way else None

    def _moves_head(self) -> bool:
        """Return whether the head moves on our word, so that its place changes rightly."""
        if self._run_state.state is State.STOPPING:
            return self._machine.moves_head
        return self._run_state.state in MOVING or self._idle.jog.is_under_way

    def _apply_guard_verdict(self, now_s: float) -> None:
        verdict = self._guard.verdict()
        sequencer = self._sequencer
        if sequencer is not None:
            sequencer.apply_verdict(verdict, now_s)
        else:
            self._idle.jog.apply_verdict(verdict, now_s)
            self._run_state.note_armed(is_armed=self._guard.phase is Phase.ARMED)
        for said in self._guard.take_attendance_notes():
            if said.kind == LOOK:  # of the run before, even where the next one has begun
                self._idle.record_look(said)
            elif sequencer is not None:
                sequencer.etch.note(said.kind, said.text)

    def _handle(self, request: Request[AnyCall], now_s: float) -> None:
        try:
            self._refuse_where_only_watching(request)
            _HANDLERS.get(request.command, Service._do_not_know)(self, request, now_s)
        except PortLost as lost:  # others may have asked in the same moment: they come next
            self._handle_port_loss(str(lost), now_s)
            if not request.is_decided:
                request.refuse(CommandRefused(str(lost)))
        except EtchdaemonError as error:
            request.refuse(error)

    def _refuse_where_only_watching(self, request: Request[AnyCall]) -> None:
        because = self._guard.watches_only_because
        if because is not None and request.command in MAY_MOVE_OR_BURN:
            raise CommandRefused(because)

    def _read_events(self, now_s: float) -> None:
        sequencer = self._sequencer
        machine = self._machine
        for event in machine.read_events(now_s):
            if sequencer is not None and event is ACCEPTED:  # the busiest path by far
                sequencer.etch.lines_accepted += 1
                if machine.sequence is not None:
                    machine.tell(event, now_s)
                continue
            machine.tell(event, now_s)
            if sequencer is None:
                machine.watch(event, now_s)
            else:
                sequencer.note(event, now_s)
                sequencer = self._sequencer  # that may have ended the run

    def _advance(self, now_s: float) -> None:
        sequencer = self._sequencer
        if sequencer is not None:
            sequencer.advance(now_s)
        else:
            self._idle.advance(now_s)

    def _handle_port_loss(self, sentence: str, now_s: float) -> None:
        self._machine.handle_port_loss(sentence, now_s)
        sequencer = self._sequencer
        if sequencer is not None:
            sequencer.termination.handle_port_loss(sentence)
        self._idle.handle_port_loss(sentence)

    # What a person may ask for.

    def _steer(self, request: Request[AnyCall], now_s: float) -> None:
        """Hand a command to the run, or refuse it with the table's sentence."""
        command = Command(request.command)
        if command in STOPS_THE_HEAD and self._idle.jog.stop("", now_s):
            request.accept()
            return
        next_state(self._run_state.state, command)
        sequencer = self._sequencer
        if sequencer is not None:
            _STEERING[command](sequencer, now_s, request.call)
        request.accept()

    def _override(self, request: Request[SetFeed | SetPower | SetDose], _now_s: float) -> None:
        sequencer = self._sequencer
        if sequencer is None or self._run_state.state is not State.ETCHING:
            raise CommandRefused(NOT_ETCHING)
        if sequencer.etch.job.sheet.card is not None:
            raise CommandRefused(CARD_AS_LAID_OUT)
        if isinstance(request.call, SetDose):
            sequencer.set_dose(request.call.percent)
        else:
            override = Override(request.command.removeprefix("set_"))
            sequencer.override(override, request.call.percent)
        request.accept()

    def _ask_box(self, request: Request[AnyCall], _now_s: float) -> None:
        """Hand a command to the interlocks."""
        INTERLOCK_COMMANDS[type(request.call)](self._guard.operator, request.call)
        request.accept()

    def _tell(self, request: Request[AnyCall], _now_s: float) -> None:
        """Answer with what is too long for every snapshot, or of a job that is not loaded yet."""
        facts = self._machine.facts
        match request.call:
            case Wiring():
                request.accept(self._guard.operator.wiring())
            case Confirmations(lasts_s=lasts_s):
                request.accept(asked_at_start(self._guard, self._clock, predicted_s=lasts_s))
            case _:
                request.accept(settings_of(facts, self._machine.measured.speeds(facts)))

    def _do_not_know(self, request: Request[AnyCall], _now_s: float) -> None:
        raise CommandRefused(f"The control program does not know how to {request.command!r}.")

    def _show(self, now_s: float) -> None:
        idle = self._idle
        idle.note_ended()  # what is left is shown together with the end
        loop_state = LoopState(
            self._run_state.state,
            idle.job,
            idle.sequencer,
            idle.inspection,
            idle.pending is not None,
            idle.jog,
            idle.origin,
            idle.last_run.view(),
        )
        self._publishing.show(loop_state, now_s)
        self._commands.give_answers()


_HANDLERS: Final[Mapping[str, Callable[..., None]]] = {
    **dict.fromkeys(
        ("load", "reenter"),
        lambda service, request, now_s: service._idle.load(request, now_s),
    ),
    "unload": lambda service, request, now_s: service._idle.unload(request, now_s),
    "arm": lambda service, request, now_s: service._idle.arm(request, now_s),
    "start": lambda service, request, now_s: service._idle.start(request, now_s),
    "set_feed": Service._override,
    "set_power": Service._override,
    "set_dose": Service._override,
    **dict.fromkeys(("hold", "hold_now", "resume", "stop"), Service._steer),
    **dict.fromkeys(
        (*CONTROLLER_COMMANDS, FIND_ORIGIN),
        lambda service, request, now_s: service._idle.run_controller_command(request, now_s),
    ),
    **dict.fromkeys(("wiring", "settings", "confirmations"), Service._tell),
    **dict.fromkeys(
        (*WAYS, MEASURE), lambda service, request, now_s: service._idle.move(request, now_s)
    ),
    **dict.fromkeys((kind.method() for kind in INTERLOCK_COMMANDS), Service._ask_box),
}
_STEERING: Final[Mapping[Command, Callable[..., None]]] = {
    Command.HOLD: lambda run, now_s, call: run.hold(now_s, call.who),
    Command.HOLD_NOW: lambda run, now_s, call: run.hold_now(now_s, call.who),
    Command.RESUME: lambda run, now_s, _call: run.resume(now_s),
    Command.STOP: lambda run, now_s, call: run.stop(now_s, call.who),
}
