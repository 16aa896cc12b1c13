"""The thread that owns the logbook's one connection, and the queue in front of it."""

import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from functools import partial
from typing import Final, TypeVar, cast

from etchdaemon.errors import CommandRefused, LogbookUnavailable
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.schema.opening import cause
from etchdaemon.logbook.schema.steps import transaction
from etchdaemon.logbook.write.backlog import Backlog, Read, Write
from etchdaemon.logbook.write.entries import LogbookEntry, end_open_runs, write_loaded, write_note

_log = logging.getLogger(__name__)

_Answer = TypeVar("_Answer")
Opener = Callable[[], tuple[LogbookConnection, str | None]]

# What a value that does not fit raises, as against a disk that does not take it.
_UNFIT: Final = (
    sqlite3.IntegrityError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
    sqlite3.DataError,
    OverflowError,
    ValueError,
    TypeError,
)
_CLOSED: Final = "The logbook is closed."
_FAILED: Final = "The logbook's writer has failed: restart the control program; see its log."


class Writer:
    """Writes and reads in a thread of its own; whoever adds something is never kept waiting.

    What cannot be written is kept and tried again, the opening of the file included: a daemon
    whose disk is full from the start tells people so and goes on as soon as there is room.
    """

    def __init__(self, opener: Opener, *, utc_now: Callable[[], str]) -> None:
        self._opener = opener
        self._utc_now = utc_now
        self._book: LogbookConnection | None = None
        self._backlog = Backlog()
        self._changed = threading.Condition()
        self._is_closing = False
        self._trouble: str | None = None
        self._failure: str | None = None
        self._was_tried = threading.Event()
        self._thread = threading.Thread(target=self._run, name="logbook")

    @property
    def trouble(self) -> str | None:
        """A sentence while nothing can be written, else None."""
        return self._failure or self._trouble

    def start(self) -> None:
        """Open the logbook and return when that has succeeded or failed; see `trouble`."""
        self.write(partial(end_open_runs, at_utc=self._utc_now()))
        self.write(partial(write_loaded, gcode_sha256=None))
        self._thread.start()
        self._was_tried.wait()

    def close(self) -> None:
        """Write what waits, if that is possible, and let go of the file."""
        with self._changed:
            self._is_closing = True
            self._changed.notify()
        self._thread.join()

    def write(self, entry: LogbookEntry) -> None:
        """Queue `entry`, first in line."""
        with self._changed:
            self._backlog.add(Write(entry))
            self._changed.notify()

    def write_rows(self, entries: Sequence[LogbookEntry]) -> None:
        """Queue `entries`, to be written within a second or so."""
        with self._changed:
            self._backlog.add_rows([Write(entry, is_row=True) for entry in entries])
            self._changed.notify()

    def confirm(self, entry: LogbookEntry) -> "Future[int | None]":
        """Queue `entry`, first in line; the future tells when it is on disk, or that it is not.

        Raise LogbookUnavailable when the logbook is closed.
        """
        waiter: Future[int | None] = Future()
        with self._changed:
            self._require_running()
            self._backlog.add(Write(entry, waiter))
            self._changed.notify()
        return waiter

    def read(self, question: Callable[[LogbookConnection], _Answer]) -> "Future[_Answer]":
        """Queue `question`, behind what is to be written; raise LogbookUnavailable as above."""
        waiter: Future[_Answer] = Future()
        with self._changed:
            self._require_running()
            self._backlog.add_read(Read(question, cast("Future[object]", waiter)))
            self._changed.notify()
        return waiter

    def _note(self, text: str) -> None:
        self.write(partial(write_note, at_utc=self._utc_now(), text=text))

    def _require_running(self) -> None:
        if self._is_closing:
            raise LogbookUnavailable(self.trouble or _CLOSED)

    def _run(self) -> None:
        try:
            while (item := self._next()) is not None:
                if isinstance(item, Read):
                    self._answer(item)
                else:
                    self._write(item)
                self._was_tried.set()
            self._write(self._last_writes())
        except Exception:  # noqa: BLE001 (the snapshot reports it, and the etch goes on)
            _log.exception("the logbook's writer has failed")
            self._failure = _FAILED
        finally:
            self._let_go()

    def _next(self) -> list[Write] | Read | None:
        with self._changed:
            while not self._is_closing:
                now_s = time.monotonic()
                item = self._backlog.next(now_s)
                if item is not None:
                    return item
                self._changed.wait(self._backlog.wait_s(now_s))
        return None

    def _last_writes(self) -> list[Write]:
        with self._changed:
            waiting = self._backlog.waiting()
        _refuse([item for item in waiting if isinstance(item, Read)], _CLOSED)
        return [item for item in waiting if isinstance(item, Write)]

    def _let_go(self) -> None:
        with self._changed:
            self._is_closing = True
            left = self._backlog.waiting()
        _refuse(left, self.trouble or _CLOSED)
        if left:
            _log.error("the logbook closes without %d records: %s", len(left), self.trouble)
        if self._book is not None:
            self._book.close()
        self._was_tried.set()

    def _opened(self) -> LogbookConnection:
        if self._book is None:
            self._book, note = self._opener()
            if note:
                _log.warning(note)
                self._note(note)
        return self._book

    def _answer(self, read: Read) -> None:
        if not read.waiter.set_running_or_notify_cancel():
            return
        try:
            book = self._opened()
            with book.turn:
                answer = read.question(book)
            read.waiter.set_result(answer)
        except sqlite3.Error as error:
            read.waiter.set_exception(
                LogbookUnavailable(f"The logbook cannot be read: {cause(error)}.")
            )
        except Exception as error:  # noqa: BLE001 (it is the asker's to hear, not this thread's)
            read.waiter.set_exception(error)

    def _write(self, writes: Sequence[Write]) -> None:
        still_due = [write for write in writes if _is_wanted(write)]
        if not still_due:
            return
        try:
            book = self._opened()
            with book.turn, transaction(book):
                numbers = [write.entry(book) for write in still_due]
        except (*_UNFIT, CommandRefused) as error:
            self._write_apart(still_due, error)
        except (sqlite3.Error, LogbookUnavailable) as error:
            self._keep(still_due, error)
        except Exception:
            self._failure = _FAILED
            _refuse(still_due, _FAILED)
            raise
        else:
            self._note_success(still_due, numbers)

    def _write_apart(self, writes: Sequence[Write], error: Exception) -> None:
        """Write each by itself, so that the one that does not fit takes no other with it."""
        if len(writes) > 1:
            for write in writes:
                self._write([write])
            return
        (write,) = writes
        if isinstance(error, CommandRefused):
            _give(writes, error)
            return
        # By its kind alone: what it holds may be a customer's name.
        kind = getattr(write.entry, "func", write.entry)
        name = getattr(kind, "__name__", "another")
        _log.error("a record does not fit the logbook: %s", name, exc_info=error)
        _refuse(writes, "The record does not fit the logbook: a fault in the program.")

    def _keep(self, writes: Sequence[Write], error: Exception) -> None:
        is_sentence = isinstance(error, LogbookUnavailable)
        sentence = str(error) if is_sentence else f"The logbook cannot be written: {cause(error)}."
        if self._trouble is None:
            _log.error("%s (%s)", sentence, error)
            self._note(f"From here on for a while: {sentence}")
        self._trouble = sentence
        with self._changed:
            kept = [write for write in writes if write.waiter is None]
            self._backlog.put_back(kept, time.monotonic())
        _refuse(writes, sentence)

    def _note_success(self, writes: Sequence[Write], numbers: Sequence[int | None]) -> None:
        self._trouble = None
        with self._changed:
            self._backlog.note_success()
            lost, self._backlog.lost = self._backlog.lost, 0
        if lost:
            self._note(
                f"{lost} records before this one are missing: there was no room to keep them."
            )
        for write, number in zip(writes, numbers, strict=True):
            if write.waiter:
                write.waiter.set_result(number)


def _refuse(items: Sequence[Write | Read], sentence: str) -> None:
    _give(items, LogbookUnavailable(sentence))


def _give(items: Sequence[Write | Read], error: Exception) -> None:
    for item in items:
        waiter = item.waiter
        if waiter and (waiter.running() or waiter.set_running_or_notify_cancel()):
            waiter.set_exception(error)


def _is_wanted(write: Write) -> bool:
    """Whether nobody has stopped waiting for it; from here on its waiter cannot."""
    waiter = write.waiter
    return waiter is None or waiter.running() or waiter.set_running_or_notify_cancel()
