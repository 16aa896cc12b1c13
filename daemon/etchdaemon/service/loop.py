"""The loop: look once at people, controller and time, then do what follows."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final

from etchdaemon.controller.chore import Chore
from etchdaemon.controller.opening import From
from etchdaemon.controller.orders import Sequence
from etchdaemon.controller.parsing import ACCEPTED
from etchdaemon.errors import CommandRefused, EtchdaemonError, JobRefused, PortLost
from etchdaemon.interlocks.rules import Phase
from etchdaemon.interlocks.starting import StartWish
from etchdaemon.ports import Clock, Guard, Records
from etchdaemon.run.states import Life, State, Turn, Wish, next_state
from etchdaemon.service import fitness
from etchdaemon.service.box_wishes import BOX_WISHES
from etchdaemon.service.chores import CHORES, chore_for
from etchdaemon.service.course import Course
from etchdaemon.service.etch import Etch
from etchdaemon.service.machine import LinkState, Machine
from etchdaemon.service.publishing import Publishing, Scene
from etchdaemon.service.spool import SpooledJob
from etchdaemon.service.wishes import Request, Wishes

AT_REST_S: Final = 0.02
GATHERING_S: Final = 0.004
SLOW_GATHERING_S: Final = 0.006
FEW_LINES: Final = 4
JUST_ASKED: Final = "The machine is still busy with what was asked before; wait a moment."
NOT_BETWEEN_RUNS: Final = "This can be done only while nothing is being etched."


class Service:
    """The daemon's one owner of the machine: whoever calls `step` moves everything on.

    It knows no thread; people reach it through `wishes`. The guard is told at every step that
    the loop is alive, and asked what the interlocks want.
    """

    def __init__(
        self, *, machine: Machine, wishes: Wishes, clock: Clock, records: Records, guard: Guard
    ) -> None:
        self._machine = machine
        self._wishes = wishes
        self._clock = clock
        self._records = records
        self._guard = guard
        self._life = Life()
        self._job: SpooledJob | None = None
        self._course: Course | None = None
        self._pending: Request | None = None  # answered when the sequence in hand is over
        self._is_busy = False
        self._publishing = Publishing(
            machine=machine, wishes=wishes, clock=clock, records=records, guard=guard
        )
        machine.cut_beam()
        self._show(clock.now_s())

    @property
    def is_under_way(self) -> bool:
        """Whether a run is."""
        return self._life.is_under_way

    @property
    def patience_s(self) -> float:
        """How long the next look may wait, when nobody rings, in the machine's seconds.

        What costs is waking up, hardly the lines: so answers are gathered. At the link's limit
        4 ms use up a third of the window; where the machine is the slower one, 6 ms do as well.
        """
        if not self.is_under_way:
            return AT_REST_S
        return GATHERING_S if self._is_busy else SLOW_GATHERING_S

    def step(self) -> None:
        """Look once, and do the one thing that follows."""
        now_s = self._clock.now_s()
        self._guard.note_steered(now_s)
        try:
            self._obey_guard(now_s)
            for request in self._wishes.take():
                self._heed(request, now_s)
            self._hear(now_s)
            self._go_on(now_s)
            lines = self._course.lines(now_s) if self._course is not None else ()
            self._is_busy = len(lines) > FEW_LINES
            self._machine.send(lines, now_s)
        except PortLost as lost:
            self._lose(str(lost), now_s)
        self._show(now_s)

    def wind_down(self) -> None:
        """Begin to end a run that is under way, because the daemon has to end."""
        now_s = self._clock.now_s()
        if self._course is not None and self.is_under_way:
            try:
                self._course.wind_down(now_s)
            except PortLost as lost:
                self._lose(str(lost), now_s)
        self._machine.cut_beam()

    def close(self) -> None:
        """Cut the beam and let go of port and files, whatever is under way."""
        self._machine.lose("The daemon has ended.", self._clock.now_s())
        if self._course is not None:
            self._course.etch.feed.close()

    def _obey_guard(self, now_s: float) -> None:
        verdict = self._guard.verdict(now_s)
        if self._course is not None and self.is_under_way:
            self._course.obey(verdict, now_s)
        else:
            self._life.note_armed(is_armed=self._guard.phase is Phase.ARMED)

    def _heed(self, request: Request, now_s: float) -> None:
        try:
            _HANDLERS.get(request.command, Service._do_not_know)(self, request, now_s)
        except EtchdaemonError as error:
            request.refuse(error)
            if isinstance(error, PortLost):
                raise

    def _hear(self, now_s: float) -> None:
        for event in self._machine.hear(now_s):
            if self._course is None or not self.is_under_way:
                self._machine.watch(event, now_s)
            elif event is ACCEPTED:  # the busiest path by far
                self._course.etch.lines_accepted += 1
            else:
                self._course.note(event, now_s)

    def _go_on(self, now_s: float) -> None:
        if self._course is not None and self.is_under_way:
            self._course.go_on(now_s)
            return
        ended = self._machine.tick(now_s)
        if self._pending is not None and ended is not None:
            request, self._pending = self._pending, None
            _WHEN_OVER[request.command](self, request, ended, now_s)
        self._machine.look_after(now_s)
        if self._life.state is State.STARTING and self._machine.link is not LinkState.OPENING:
            self._life.turn(Turn.MACHINE_SEEN)

    def _lose(self, sentence: str, now_s: float) -> None:
        self._machine.lose(sentence, now_s)
        if self._course is not None and self.is_under_way:
            self._course.lose(sentence)
        if self._pending is not None:
            self._pending.refuse(CommandRefused(sentence))
            self._pending = None

    # What a person may ask for.

    def _load(self, request: Request, now_s: float) -> None:  # noqa: ARG002 - the table's signature
        self._refuse_while_pending()
        next_state(self._life.state, Wish.LOAD)
        job: SpooledJob = request.arguments["job"]
        self._refuse_unfit(job)
        self._life.turn(Wish.LOAD)
        self._job, self._course = job, None
        request.accept({"job_sha256": job.sheet.gcode_sha256})

    def _unload(self, request: Request, now_s: float) -> None:  # noqa: ARG002
        self._refuse_while_pending()
        self._life.turn(Wish.UNLOAD)
        self._job = self._course = None
        request.accept()

    def _start(self, request: Request, now_s: float) -> None:
        """Ask the controller anew what it is set to; the start follows when it has answered."""
        self._refuse_while_pending()
        next_state(self._life.state, Wish.START)
        if not self._machine.is_ready:
            raise CommandRefused(self._machine.sentence)
        self._pending = request
        self._machine.open_again(From.REST, now_s)

    def _begin(self, request: Request, _opening: Sequence, now_s: float) -> None:
        """Start the run, now that the controller has said again what it is."""
        job, facts = self._job, self._machine.facts
        try:
            if job is None or facts is None or self._machine.link is not LinkState.READY:
                raise CommandRefused(self._machine.sentence)
            self._refuse_unfit(job)
            box = self._guard.begin_run(self._wish_of(request, job))
        except EtchdaemonError as error:
            request.refuse(error)
            return
        self._guard.note_steered(now_s, is_waiting=True)
        try:
            etch = Etch.start(job, facts=facts, records=self._records, clock=self._clock, box=box)
        except EtchdaemonError as error:
            self._guard.end_run()
            request.refuse(error)
            return
        self._life.turn(Wish.START)
        self._course = Course(
            etch, machine=self._machine, life=self._life, guard=self._guard, now_s=now_s
        )
        request.accept()

    def _wish_of(self, request: Request, job: SpooledJob) -> StartWish:
        said = request.arguments
        return StartWish(
            lasts_s=job.sheet.predicted_s / self._clock.seconds_per_wall_second,
            starts_at=datetime.fromisoformat(self._clock.utc_now()).astimezone(),
            has_acknowledged_long_run=bool(said.get("acknowledge_long_run")),
            stays_until_end=str(said.get("stays_until_end") or ""),
        )

    def _ask_box(self, request: Request, _now_s: float) -> None:
        """Hand a wish to the interlocks."""
        if request.command == "arm" and not self._machine.is_ready:
            raise CommandRefused(self._machine.sentence)
        day = self._clock.utc_now()[:10]
        BOX_WISHES[request.command](self._guard, request.arguments, day)
        request.accept()

    def _do_chore(self, request: Request, now_s: float) -> None:
        """Have the controller do something between runs; it is answered when that is done."""
        self._refuse_while_pending()
        if self.is_under_way or self._machine.sequence is not None:
            raise CommandRefused(NOT_BETWEEN_RUNS)
        chore = chore_for(request.command, self._machine.facts)
        self._pending = request
        self._machine.begin(chore, now_s)

    def _chore_done(self, request: Request, chore: Chore, now_s: float) -> None:
        if chore.failure is None:
            request.accept()
            self._machine.open_again(From.REST, now_s)
        else:
            request.refuse(CommandRefused(chore.failure))
            self._machine.open_again(From.UNSURE, now_s)

    def _steer(self, request: Request, now_s: float) -> None:
        """Hand a wish to the run, or refuse it in the words of the table."""
        wish = Wish(request.command)
        next_state(self._life.state, wish)
        if self._course is not None:
            _STEERING[wish](self._course, now_s)
        request.accept()

    def _do_not_know(self, request: Request, now_s: float) -> None:  # noqa: ARG002
        raise CommandRefused(f"This daemon does not know how to {request.command!r}.")

    def _refuse_while_pending(self) -> None:
        if self._pending is not None:
            raise CommandRefused(JUST_ASKED)

    def _refuse_unfit(self, job: SpooledJob) -> None:
        facts = self._machine.facts if self._machine.link is LinkState.READY else None
        objections = () if facts is None else fitness.objections(job.sheet, facts)
        if objections:
            raise JobRefused(" ".join(objections))

    def _show(self, now_s: float) -> None:
        etch = None if self._course is None else self._course.etch
        scene = Scene(self._life.state, self._job, etch, self._pending is not None)
        self._publishing.show(scene, now_s)


_HANDLERS: Final[Mapping[str, Callable[[Service, Request, float], None]]] = {
    "load": Service._load,
    "unload": Service._unload,
    "start": Service._start,
    "hold": Service._steer,
    "hold_now": Service._steer,
    "resume": Service._steer,
    "stop": Service._steer,
    **dict.fromkeys(CHORES, Service._do_chore),
    **dict.fromkeys(BOX_WISHES, Service._ask_box),
}
_WHEN_OVER: Final[Mapping[str, Callable[[Service, Request, Any, float], None]]] = {
    "start": Service._begin,
    **dict.fromkeys(CHORES, Service._chore_done),
}
_STEERING: Final[Mapping[Wish, Callable[[Course, float], None]]] = {
    Wish.HOLD: Course.hold,
    Wish.HOLD_NOW: Course.hold_now,
    Wish.RESUME: Course.resume,
    Wish.STOP: Course.stop,
}
