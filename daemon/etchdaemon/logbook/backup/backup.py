"""One copy of the logbook, made while it is written; and what makes a copy worth keeping."""

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Final

from etchdaemon.errors import BackupFailed, LogbookUnavailable
from etchdaemon.logbook.backup.sums import put_in_place
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.schema.opening import (
    Damaged,
    cause,
    require_header,
    require_ours,
    require_sound,
)
from etchdaemon.logbook.schema.steps import version_of

PAGES_A_STEP: Final = 64  # 256 kB: what a write of the etch may have to wait for
SETTLE_EVERY_STEPS: Final = 16  # so that no sync has much to do while the etch wants to commit
TORN: Final = "what is in it does not hold together"
# A damaged schema's name may be no text, which the message of SQLite then quotes.
UNREADABLE: Final = (sqlite3.Error, Damaged, UnicodeDecodeError)
_TORN: Final = ("SQLITE_CORRUPT", "SQLITE_NOTADB")

Pause = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Copy:
    """What is known of a copy that was found to be sound."""

    path: Path
    version: int
    runs: int
    bytes: int


def copy_logbook(book: LogbookConnection, target: Path, *, between: Pause) -> Copy:
    """Copy `book` to `target` in small steps, check the copy and have it on disk.

    `between` hears the share done after every step and may wait, or raise to give up. Whoever
    writes to `book` meanwhile has his turn then, and what he writes goes into the copy too.
    Whatever raises, BackupFailed for one, leaves nothing behind.
    """
    arriving = target.with_name(f".arriving-{target.name}")
    try:
        _copy_pages(book, arriving, between)
        found = look_at(arriving)
        put_in_place(arriving, target)
    except (sqlite3.Error, OSError) as error:
        raise BackupFailed(f"No backup could be written to {target}: {cause(error)}.") from error
    finally:
        arriving.unlink(missing_ok=True)
    return Copy(target, found.version, found.runs, found.bytes)


def _copy_pages(book: LogbookConnection, path: Path, between: Pause) -> None:
    path.unlink(missing_ok=True)
    with closing(sqlite3.connect(path, isolation_level=None)) as copy, path.open("rb") as file:
        # It counts once it has been checked, so nothing of it needs a journal or a sync.
        copy.execute("PRAGMA journal_mode = OFF").fetchall()
        copy.execute("PRAGMA synchronous = OFF")
        steps = 0

        def tell(_status: int, left: int, pages: int) -> None:
            nonlocal steps
            steps += 1
            with _let_go(book.turn):
                if steps % SETTLE_EVERY_STEPS == 0:
                    os.fdatasync(file.fileno())
                between(1 - left / pages if pages else 1.0)

        with book.turn:
            book.backup(copy, pages=PAGES_A_STEP, progress=tell)
        copy.execute("PRAGMA journal_mode = DELETE").fetchall()  # one file, whole by itself
        os.fsync(file.fileno())


@contextmanager
def _let_go(turn: Lock) -> Iterator[None]:
    turn.release()
    try:
        yield
    finally:
        turn.acquire()


def look_at(path: Path, *, called: Path | None = None) -> Copy:
    """Check the logbook in the one file at `path`; raise BackupFailed unless it is all sound.

    The sentences of the failure name `called`, where people know it by another name.
    """
    name = called or path
    try:
        if not path.is_file():
            raise BackupFailed(f"There is no file {name}.")
        require_header(path)
        # Nobody else has it: SQLite need not lock it, nor write beside it on a stick that is full.
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?immutable=1", uri=True)) as book:
            require_ours(book)
            _require_whole(book, path)
            _require_sound_throughout(book)
            (runs,) = book.execute("SELECT count(*) FROM run").fetchone()
            return Copy(path, version_of(book), runs, path.stat().st_size)
    except LogbookUnavailable as error:
        raise BackupFailed(f"{name} is of no use here: {error}") from error
    except UNREADABLE as error:
        raise BackupFailed(f"{name} is damaged or no logbook: {damage(error)}.") from error
    except OSError as error:
        raise BackupFailed(f"{name} cannot be read: {error.strerror}.") from error


def damage(error: Exception) -> str:
    """Return what is wrong with a file that is no logbook: the end of a sentence."""
    name = getattr(error, "sqlite_errorname", None) or ""
    is_torn = isinstance(error, UnicodeDecodeError) or name.startswith(_TORN)
    return TORN if is_torn else cause(error)


def _require_sound_throughout(book: sqlite3.Connection) -> None:
    try:
        require_sound(book, "integrity_check")
    except Damaged as finding:  # in words about pages and cells
        raise Damaged(TORN) from finding


def _require_whole(book: sqlite3.Connection, path: Path) -> None:
    """Raise Damaged for a file that was cut or lengthened: SQLite itself reads on over an end."""
    (pages,), (page_bytes,) = (
        book.execute(f"PRAGMA {what}").fetchone() for what in ("page_count", "page_size")
    )
    if version_of(book) == 0:
        raise Damaged("there is no logbook in it")
    if path.stat().st_size != pages * page_bytes:
        raise Damaged("it is not as long as it says, so its end was cut or written over")
