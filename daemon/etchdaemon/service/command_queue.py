"""The queue by which commands reach the loop, and the newest snapshot."""

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from threading import Event
from typing import Final, Generic, TypeVar, cast

from msgspec import UNSET, UnsetType, structs

from etchdaemon.errors import CommandRefused
from etchdaemon.ports import Doorbell
from etchdaemon.service.job.reentry import Reentry
from etchdaemon.service.job.spool import Spool, SpooledJob
from etchwire.calls.call import AnyCall, Call, Done
from etchwire.calls.machine import Hold, HoldNow, Load, Reenter, Stop, Unfinished, UnfinishedRun
from etchwire.calls.snapshot import Snapshot

ANSWER_PATIENCE_S: Final = 15.0  # wall-clock: a start waits for its commit

_Answer = TypeVar("_Answer")
_Call_co = TypeVar("_Call_co", bound=AnyCall, covariant=True)

_DONE: Final = Done()
_SAFETY: Final = (Stop, HoldNow, Hold)  # answered before whatever else is waiting


@dataclass(frozen=True, slots=True)
class PreparedJob:
    """A job that was taken in, and what a person is told where it is a re-entry."""

    job: SpooledJob
    sentence: str | UnsetType = UNSET


@dataclass(frozen=True, slots=True)
class Request(Generic[_Call_co]):
    """A call on its way through the loop; it is answered once, from there.

    Whoever asked has the answer only when the snapshot shows what came of it.
    """

    call: _Call_co
    prepared: PreparedJob | None = None
    _answer: "Future[object]" = field(default_factory=Future)
    _is_given: Event = field(default_factory=Event)

    @property
    def command(self) -> str:
        """The name of what is asked for."""
        return self.call.method()

    def accept(self, answer: object = _DONE) -> None:
        """Say that what was asked for is under way."""
        self._answer.set_result(answer)

    def refuse(self, error: Exception) -> None:
        """Say that it is not, and why."""
        self._answer.set_exception(error)

    def answer(self, timeout_s: float) -> object:
        """Wait for the answer; raise what it was refused with."""
        if not self._is_given.wait(timeout_s):
            raise CommandRefused("The control program does not answer. Restart it.")
        return self._answer.result()

    def give_answer(self) -> None:
        """Let whoever asked have the answer."""
        self._is_given.set()

    @property
    def is_decided(self) -> bool:
        """Whether the loop has accepted or refused."""
        return self._answer.done()

    @property
    def is_answered(self) -> bool:
        """Whether whoever asked has the answer."""
        return self._is_given.is_set()


class CommandQueue:
    """An Operator: any thread may ask here; only the loop takes and publishes."""

    def __init__(self, *, spool: Spool, doorbell: Doorbell, reentry: Reentry) -> None:
        self._spool = spool
        self._reentry = reentry
        self._doorbell = doorbell
        self._waiting: SimpleQueue[Request[AnyCall]] = SimpleQueue()
        self._taken: list[Request[AnyCall]] = []  # not answered yet
        self._listeners: list[Callable[[], None]] = []
        self._snapshot: Snapshot  # from when the loop is there
        self._sequence = 1

    def snapshot(self) -> Snapshot:
        """Return the newest snapshot."""
        return self._snapshot

    def request(self, call: Call[_Answer]) -> _Answer:
        """Ask the loop for `call` and wait for its answer.

        What may be taken up again is worked out here: the loop must not wait for the logbook.
        """
        if isinstance(call, Unfinished):
            return cast(_Answer, self._outlook(call))
        return cast(_Answer, self.submit(call).answer(ANSWER_PATIENCE_S))

    def submit(self, call: AnyCall) -> Request[AnyCall]:
        """Ask the loop for `call`; the answer can be fetched from what is returned.

        A job is copied and hashed, or the rest of one written, here in the caller's thread:
        the loop must not wait for it.
        """
        request = Request(call, self._prepared(call))
        self._waiting.put(request)
        self._doorbell.ring()
        return request

    def _outlook(self, call: Unfinished) -> UnfinishedRun:
        last = self._snapshot.unfinished
        return self._reentry.outlook(
            call,
            is_under_way="load" not in self._snapshot.may,
            is_place_kept=last is not None and last.run == call.run and last.is_place_kept,
        )

    def _prepared(self, call: AnyCall) -> PreparedJob | None:
        if not isinstance(call, (Load, Reenter)):
            return None
        if "load" not in self._snapshot.may:
            raise CommandRefused("A picture is being etched; load another when it has ended.")
        if isinstance(call, Load):
            return PreparedJob(self._spool.take_in(gcode_fd=call.gcode_fd, sheet_fd=call.sheet_fd))
        return PreparedJob(*self._reentry.job(call))

    def call_on_change(self, listener: Callable[[], None]) -> None:
        """Call `listener` after every new snapshot, in the loop's thread."""
        self._listeners.append(listener)

    def take(self) -> list[Request[AnyCall]]:
        """Return what has been asked since the last time, holds and stops first."""
        if self._waiting.empty():
            return []
        requests = []
        try:
            while True:
                requests.append(self._waiting.get_nowait())
        except Empty:
            pass
        self._taken += requests
        return sorted(requests, key=lambda request: not isinstance(request.call, _SAFETY))

    @property
    def has_decided(self) -> bool:
        """Whether something is decided of which nobody knows yet."""
        return any(request.is_decided for request in self._taken)

    def give_answers(self) -> None:
        """Answer what is decided; to be called when a snapshot shows it."""
        for request in self._taken:
            if request.is_decided:
                request.give_answer()
        self._taken = [request for request in self._taken if not request.is_answered]

    def publish(self, snapshot: Snapshot) -> None:
        """Show `snapshot` from now on, with the next number."""
        self._snapshot = structs.replace(snapshot, sequence=self._sequence)
        self._sequence += 1
        for listener in self._listeners:
            listener()
