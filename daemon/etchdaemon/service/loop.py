"""The loop: look once at people, controller and time, then do what follows."""

from collections.abc import Callable, Mapping
from typing import Final

from etchdaemon.controller.parsing import ACCEPTED
from etchdaemon.controller.setting_list import settings_of
from etchdaemon.errors import CommandRefused, EtchdaemonError, PortLost
from etchdaemon.interlocks.rules import Phase
from etchdaemon.ports import Clock, Guard, Preflight, Records
from etchdaemon.run.overrides import Lever
from etchdaemon.run.states import MOVING, Life, State, Wish, next_state
from etchdaemon.service.command_queue import Request, Wishes
from etchdaemon.service.idle.controller_commands import CHORES
from etchdaemon.service.idle.idle_controller import Between
from etchdaemon.service.idle.interlock_commands import BOX_WISHES
from etchdaemon.service.idle.job_origin import FIND_ORIGIN
from etchdaemon.service.idle.moves import MEASURE, WAYS
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run.run_sequencer import Course
from etchdaemon.service.status.publishing import Publishing, Scene
from etchwire.record import LOOK

AT_REST_S: Final = 0.02
GATHERING_S: Final = 0.003
STOPS_THE_HEAD: Final = (Wish.STOP, Wish.HOLD, Wish.HOLD_NOW)  # where it moves between runs
MAY_MOVE_OR_BURN: Final = frozenset((*CHORES, FIND_ORIGIN, *WAYS, MEASURE, "arm", "start"))
NOT_ETCHING: Final = "Speed and power can be changed only while something is being etched."


class Service:
    """The daemon's one owner of the machine: whoever calls `step` moves everything on.

    It knows no thread; people reach it through `wishes`. The guard is told at every step that
    the loop is alive, and asked what the interlocks want.
    """

    def __init__(
        self,
        *,
        machine: Machine,
        wishes: Wishes,
        clock: Clock,
        records: Records,
        guard: Guard,
        preflight: Preflight,
    ) -> None:
        self._machine = machine
        self._wishes = wishes
        self._clock = clock
        self._guard = guard
        self._life = Life()
        self._between = Between(
            machine=machine,
            life=self._life,
            clock=clock,
            records=records,
            guard=guard,
            preflight=preflight,
        )
        self._publishing = Publishing(
            machine=machine, wishes=wishes, clock=clock, records=records, guard=guard
        )
        self.recall = self._between.last_run.recall  # what an earlier life left unfinished
        self.recall_origin = self._between.origin.recall  # and where its origin was
        self.recall_end = self._between.recall_end  # and what is still to be looked at
        machine.cut_beam()
        self._show(clock.now_s())

    @property
    def is_under_way(self) -> bool:
        """Whether a run is."""
        return self._life.is_under_way

    @property
    def patience_s(self) -> float:
        """How long the next look may wait, when nobody rings, in the machine's seconds.

        What costs is waking up, hardly the lines: so answers are gathered, for no longer than a
        quarter of the 11 ms that a full window lasts at 115200 baud.
        """
        if not self.is_under_way and not self._machine.lines_in_flight:
            return AT_REST_S
        return GATHERING_S

    def step(self) -> None:
        """Look once, and do the one thing that follows."""
        now_s = self._clock.now_s()
        self._guard.note_steered()
        try:
            self._obey_guard(now_s)
            for request in self._wishes.take():
                self._heed(request, now_s)
                now_s = self._clock.now_s()  # a start and a resume wait for the logbook
            self._machine.moves_head = self._moves_head()
            self._hear(now_s)
            self._go_on(now_s)
            if self._machine.is_ready:
                self._guard.note_controller(obeys=True)
            self._between.origin.look(is_under_way=self._life.is_under_way)
            course = self._course
            lines = () if course is None else course.lines(now_s)
            self._machine.send(lines, now_s)
        except PortLost as lost:
            self._lose(str(lost), now_s)
        self._show(now_s)

    def wind_down(self) -> None:
        """Begin to end a run that is under way, because the daemon has to end."""
        now_s = self._clock.now_s()
        course = self._course
        if course is not None:
            try:
                course.ends.wind_down(now_s)
            except PortLost as lost:
                self._lose(str(lost), now_s)

    def close(self) -> None:
        """Cut the beam and let go of port and files, whatever is under way."""
        self._machine.lose("The daemon has ended.", self._clock.now_s())
        if self._between.course is not None:
            self._between.course.etch.feed.close()

    @property
    def _course(self) -> Course | None:
        """The run that is under way."""
        return self._between.course if self._life.is_under_way else None

    def _moves_head(self) -> bool:
        """Return whether the head moves on our word, so that its place changes rightly."""
        if self._life.state is State.STOPPING:
            return self._machine.moves_head
        return self._life.state in MOVING or self._between.heading.is_under_way

    def _obey_guard(self, now_s: float) -> None:
        verdict = self._guard.verdict()
        course = self._course
        if course is not None:
            course.obey(verdict, now_s)
        else:
            self._between.heading.obey(verdict, now_s)
            self._life.note_armed(is_armed=self._guard.phase is Phase.ARMED)
        for said in self._guard.take_said():
            if said.kind == LOOK:  # of the run before, even where the next one has begun
                self._between.note_look(said)
            elif course is not None:
                course.etch.note(said.kind, said.text)

    def _heed(self, request: Request, now_s: float) -> None:
        try:
            self._refuse_where_only_watching(request)
            _HANDLERS.get(request.command, Service._do_not_know)(self, request, now_s)
        except PortLost as lost:  # others may have asked in the same moment: they come next
            self._lose(str(lost), now_s)
            if not request.is_answered:
                request.refuse(CommandRefused(str(lost)))
        except EtchdaemonError as error:
            request.refuse(error)

    def _refuse_where_only_watching(self, request: Request) -> None:
        because = self._guard.watches_only_because
        if because is not None and request.command in MAY_MOVE_OR_BURN:
            raise CommandRefused(because)

    def _hear(self, now_s: float) -> None:
        course = self._course
        for event in self._machine.hear(now_s):
            self._machine.tell(event, now_s)
            if course is None:
                self._machine.watch(event, now_s)
            elif event is ACCEPTED:  # the busiest path by far
                course.etch.lines_accepted += 1
            else:
                course.note(event, now_s)
                course = self._course  # that may have ended the run

    def _go_on(self, now_s: float) -> None:
        course = self._course
        if course is not None:
            course.go_on(now_s)
        else:
            self._between.go_on(now_s)

    def _lose(self, sentence: str, now_s: float) -> None:
        self._machine.lose(sentence, now_s)
        course = self._course
        if course is not None:
            course.ends.lose(sentence)
        self._between.lose(sentence)

    # What a person may ask for.

    def _steer(self, request: Request, now_s: float) -> None:
        """Hand a wish to the run, or refuse it in the words of the table."""
        wish = Wish(request.command)
        if wish in STOPS_THE_HEAD and self._between.heading.stop("", now_s):
            request.accept()
            return
        next_state(self._life.state, wish)
        course = self._course
        if course is not None:
            _STEERING[wish](course, now_s)
        request.accept()

    def _override(self, request: Request, _now_s: float) -> None:
        course = self._course
        if course is None or self._life.state is not State.ETCHING:
            raise CommandRefused(NOT_ETCHING)
        course.override(Lever(request.command.removeprefix("set_")), request.arguments["percent"])
        request.accept()

    def _ask_box(self, request: Request, _now_s: float) -> None:
        """Hand a wish to the interlocks."""
        day = self._clock.utc_now()[:10]
        BOX_WISHES[request.command](self._guard, request.arguments, day)
        request.accept()

    def _tell(self, request: Request, _now_s: float) -> None:
        """Tell what is too much for every snapshot."""
        request.accept(
            self._guard.wiring()
            if request.command == "wiring"
            else settings_of(self._machine.facts)
            | {"controller": self._machine.measured.shown(self._machine.facts)}
        )

    def _do_not_know(self, request: Request, _now_s: float) -> None:
        raise CommandRefused(f"This daemon does not know how to {request.command!r}.")

    def _show(self, now_s: float) -> None:
        between = self._between
        between.note_ended()  # what is left is shown together with the end
        etch = None if between.course is None else between.course.etch
        scene = Scene(
            self._life.state,
            between.job,
            etch,
            between.inspection,
            between.pending is not None,
            between.heading,
            between.origin,
            between.last_run.shown(),
        )
        self._publishing.show(scene, now_s)


_HANDLERS: Final[Mapping[str, Callable[[Service, Request, float], None]]] = {
    "load": lambda service, request, now_s: service._between.load(request, now_s),
    "unload": lambda service, request, now_s: service._between.unload(request, now_s),
    "arm": lambda service, request, now_s: service._between.arm(request, now_s),
    "start": lambda service, request, now_s: service._between.start(request, now_s),
    "set_feed": Service._override,
    "set_power": Service._override,
    **dict.fromkeys(("hold", "hold_now", "resume", "stop"), Service._steer),
    **dict.fromkeys(
        (*CHORES, FIND_ORIGIN),
        lambda service, request, now_s: service._between.do_chore(request, now_s),
    ),
    **dict.fromkeys(("wiring", "settings"), Service._tell),
    **dict.fromkeys(
        (*WAYS, MEASURE), lambda service, request, now_s: service._between.move(request, now_s)
    ),
    **dict.fromkeys(BOX_WISHES, Service._ask_box),
}
_STEERING: Final[Mapping[Wish, Callable[[Course, float], None]]] = {
    Wish.HOLD: Course.hold,
    Wish.HOLD_NOW: Course.hold_now,
    Wish.RESUME: Course.resume,
    Wish.STOP: Course.stop,
}
