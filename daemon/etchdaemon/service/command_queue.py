"""The queue by which commands reach the loop, and the newest snapshot."""

from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from typing import Any, Final

from etchdaemon.errors import CommandRefused
from etchdaemon.ports import Doorbell
from etchdaemon.service.job.reentry import Reentry
from etchdaemon.service.job.spool import Spool

ANSWER_PATIENCE_S: Final = 15.0  # wall-clock: a start waits for its commit

Answer = Mapping[str, Any]

# Answered before whatever else is waiting.
_SAFETY: Final = frozenset(("stop", "hold_now", "hold"))


@dataclass(frozen=True, slots=True)
class Request:
    """A command on its way to the loop, which answers it once."""

    command: str
    arguments: Mapping[str, Any] = field(default_factory=dict)
    _answer: "Future[Answer]" = field(default_factory=Future)

    def accept(self, answer: Answer | None = None) -> None:
        """Say that what was asked for is under way."""
        self._answer.set_result({} if answer is None else answer)

    def refuse(self, error: Exception) -> None:
        """Say that it is not, and why."""
        self._answer.set_exception(error)

    def answer(self, timeout_s: float) -> Answer:
        """Wait for the answer; raise what it was refused with."""
        try:
            return self._answer.result(timeout_s)
        except TimeoutError:
            raise CommandRefused("The daemon's loop does not answer. Restart the daemon.") from None

    @property
    def is_answered(self) -> bool:
        """Whether the loop has answered."""
        return self._answer.done()


class CommandQueue:
    """An Operator: any thread may ask here; only the loop takes and publishes."""

    def __init__(self, *, spool: Spool, doorbell: Doorbell, reentry: Reentry) -> None:
        self._spool = spool
        self._reentry = reentry
        self._doorbell = doorbell
        self._waiting: SimpleQueue[Request] = SimpleQueue()
        self._listeners: list[Callable[[], None]] = []
        self._snapshot: Mapping[str, Any] = {}

    def snapshot(self) -> Mapping[str, Any]:
        """Return the newest snapshot."""
        return self._snapshot

    def request(self, command: str, **arguments: Any) -> Answer:
        """Ask the loop for `command` and wait for its answer.

        What may be taken up again is worked out here: the loop must not wait for the logbook.
        """
        if command == "unfinished":
            return self._outlook(**arguments)
        return self.submit(command, **arguments).answer(ANSWER_PATIENCE_S)

    def submit(self, command: str, **arguments: Any) -> Request:
        """Ask the loop for `command`; the answer can be fetched from what is returned.

        A job is copied and hashed, or the rest of one written, here in the caller's thread:
        the loop must not wait for it.
        """
        if command in ("load", "reenter"):
            if "load" not in self._snapshot["may"]:
                raise CommandRefused("A picture is being etched; load another when it has ended.")
            command, arguments = "load", self._prepared(command, arguments)
        request = Request(command, arguments)
        self._waiting.put(request)
        self._doorbell.ring()
        return request

    def _outlook(self, *, run: int, row: int | None) -> Answer:
        last = self._snapshot["unfinished"] or {}
        return self._reentry.outlook(
            run=run,
            row=row,
            is_under_way="load" not in self._snapshot["may"],
            is_place_kept=last.get("run") == run and last["is_place_kept"],
        )

    def _prepared(self, command: str, arguments: Mapping[str, Any]) -> dict[str, Any]:
        if command == "load":
            return {"job": self._spool.take_in(**arguments)}
        job, sentence = self._reentry.job(**arguments)
        return {"job": job, "told": {"sentence": sentence}}

    def tell_changes_to(self, listener: Callable[[], None]) -> None:
        """Call `listener` after every new snapshot, in the loop's thread."""
        self._listeners.append(listener)

    def take(self) -> list[Request]:
        """Return what has been asked since the last time, holds and stops first."""
        if self._waiting.empty():
            return []
        requests = []
        try:
            while True:
                requests.append(self._waiting.get_nowait())
        except Empty:
            pass
        return sorted(requests, key=lambda request: request.command not in _SAFETY)

    def publish(self, snapshot: Mapping[str, Any]) -> None:
        """Show `snapshot` from now on, with the next number."""
        sequence = self._snapshot.get("sequence", 0) + 1
        self._snapshot = {"sequence": sequence, **snapshot}
        for listener in self._listeners:
            listener()
