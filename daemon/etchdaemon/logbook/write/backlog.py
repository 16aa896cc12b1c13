"""What waits to be written and read, and in which order: no thread, no database, no clock.

Events, starts and ends come first and at once. Rows wait, at most a second, and go along with
whatever is written before that. Reads come between.
"""

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Final

from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.write.entries import LogbookEntry

ROWS_EVERY_S: Final = 1.0
RETRY_EVERY_S: Final = 1.0
ROWS_KEPT: Final = 20_000  # about 10 MB, five portraits of 2000 rows
ENTRIES_KEPT: Final = 2_000


@dataclass(frozen=True, slots=True)
class Write:
    """An entry, and who waits until it is on disk: what somebody waits for is never retried."""

    entry: LogbookEntry
    waiter: "Future[int | None] | None" = None
    is_row: bool = False  # or what goes with the rows


@dataclass(frozen=True, slots=True)
class Read:
    """A question to the database, and where its answer goes."""

    question: Callable[[LogbookConnection], object]
    waiter: "Future[object]"


class Backlog:
    """Three queues and one rule for what is next. Times are wall-clock monotonic seconds."""

    def __init__(self) -> None:
        self.lost = 0
        self._first: deque[Write] = deque()
        self._rows: deque[Write] = deque()
        self._reads: deque[Read] = deque()
        self._rows_due_s = 0.0
        self._retry_at_s: float | None = None

    def add(self, write: Write) -> None:
        """Put `write` behind the events, starts and ends that wait."""
        self._first.append(write)
        self._forget_overflow(self._first, ENTRIES_KEPT)

    def add_rows(self, writes: Sequence[Write]) -> None:
        """Put rows behind the rows that wait."""
        self._rows.extend(writes)
        self._forget_overflow(self._rows, ROWS_KEPT)

    def add_read(self, read: Read) -> None:
        """Put `read` behind the reads that wait."""
        self._reads.append(read)

    def next(self, now_s: float) -> list[Write] | Read | None:
        """Return what to write in one transaction, or to read, or None when nothing is due."""
        if self._may_write(now_s):
            return self._batch(now_s)
        return self._reads.popleft() if self._reads else None

    def wait_s(self, now_s: float) -> float | None:
        """Return how long nothing is due unless something is added; None: for ever."""
        if self._reads or self._may_write(now_s):
            return 0.0
        if not self._first and not self._rows:
            return None
        due_s = self._rows_due_s if self._retry_at_s is None else self._retry_at_s
        return max(0.0, due_s - now_s)

    def put_back(self, writes: Sequence[Write], now_s: float) -> None:
        """Keep what could not be written, ahead of all that came since, and wait a while."""
        self._retry_at_s = now_s + RETRY_EVERY_S
        for write in reversed(writes):
            (self._rows if write.is_row else self._first).appendleft(write)
        self._forget_overflow(self._first, ENTRIES_KEPT)
        self._forget_overflow(self._rows, ROWS_KEPT)

    def note_success(self) -> None:
        """Stop waiting before the next attempt: the last one reached the disk."""
        self._retry_at_s = None

    def waiting(self) -> list[Write | Read]:
        """Return everything that has not been written or read, and forget it."""
        everything: list[Write | Read] = [*self._first, *self._rows, *self._reads]
        for queue in (self._first, self._rows, self._reads):
            queue.clear()
        return everything

    def _may_write(self, now_s: float) -> bool:
        if any(write.waiter for write in self._first):
            return True  # somebody wants to start: the disk is tried for them at once
        if self._retry_at_s is not None and now_s < self._retry_at_s:
            return False
        return bool(self._first) or (bool(self._rows) and now_s >= self._rows_due_s)

    def _batch(self, now_s: float) -> list[Write]:
        self._rows_due_s = now_s + ROWS_EVERY_S
        batch = [*self._first, *self._rows]
        self._first.clear()
        self._rows.clear()
        return batch

    def _forget_overflow(self, queue: deque[Write], kept: int) -> None:
        while len(queue) > kept:
            queue.popleft()
            self.lost += 1
