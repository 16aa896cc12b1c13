"""Opening the logbook's file: the one connection, and what becomes of a damaged file."""

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.schema.steps import APPLICATION_ID, MIGRATIONS, migrate, version_of
from etchwire.storing import fault_of_card, settle

# SQLite up to 3.51.2 can corrupt a WAL file that two connections checkpoint at the same instant
# (https://sqlite.org/wal.html, "The WAL-Reset Bug"); Debian 12 has 3.40.1. Exclusive locking
# keeps every other connection out. FULL: with NORMAL a power cut may take the last commits along.
SETTINGS: Final = (
    "PRAGMA locking_mode = EXCLUSIVE",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA trusted_schema = OFF",
    "PRAGMA journal_size_limit = 4194304",
)
_HEADER: Final = b"SQLite format 3\0"  # https://sqlite.org/fileformat2.html, section 1.3.1
_SUFFIXES: Final = ("-shm", "-wal", "")  # the file last: its WAL must never meet the next one


# By SQLite's names for what went wrong (https://sqlite.org/rescode.html).
_CAUSES: Final = (
    ("SQLITE_FULL", "the disk is full, make room"),
    ("SQLITE_IOERR", "the disk reports a fault"),
    ("SQLITE_READONLY", "its file may not be written"),
    ("SQLITE_CANTOPEN", "its folder is missing or may not be written"),
    ("SQLITE_BUSY", "another program has it open"),
    (
        "SQLITE_CORRUPT",
        "its file is damaged and is set aside when the program starts again",
    ),
    ("SQLITE_NOTADB", "its file is damaged and is set aside when the program starts again"),
)


class Damaged(Exception):
    """A file that was a logbook, or should be one, and cannot be read."""


def cause(error: Exception) -> str:
    """Return why SQLite, or the system, said no: the end of a sentence."""
    name = getattr(error, "sqlite_errorname", None) or ""
    causes = (words for start, words in _CAUSES if name.startswith(start))
    unknown = getattr(error, "strerror", None) or str(error).rstrip(".")
    return next(causes, fault_of_card(error) or unknown)


def open_logbook(
    path: Path, *, at_utc: str, connect: Callable[..., LogbookConnection] = LogbookConnection
) -> tuple[LogbookConnection, str | None]:
    """Open or begin the logbook at `path`, brought to the newest schema.

    A damaged file is set aside under a name with `at_utc` and a new one begun; the second value
    is then a sentence about it. Raise LogbookUnavailable when there is no way to write here.
    """
    try:
        try:
            return _open_sound(path, connect), None
        except Damaged as damage:
            aside = set_aside(path, at_utc)
            note = f"The logbook was damaged ({damage}). It was set aside as {aside.name}."
            return _open_sound(path, connect), f"{note} A new one was begun."
    except (sqlite3.Error, OSError, Damaged) as error:
        raise LogbookUnavailable(f"The logbook {path} cannot be opened: {cause(error)}.") from error


def _open_sound(path: Path, connect: Callable[..., LogbookConnection]) -> LogbookConnection:
    require_header(path)
    # The connection is made here and used by the writer's thread, and by that of the backups.
    book = connect(path, timeout=0.2, isolation_level=None, check_same_thread=False)
    try:
        _prepare(book)
    except BaseException:
        with suppress(sqlite3.Error):
            book.close()
        raise
    return book


def _prepare(book: sqlite3.Connection) -> None:
    try:
        book.execute(SETTINGS[0])
        require_sound(book)
        require_ours(book)
        for setting in SETTINGS[1:]:
            book.execute(setting).fetchall()
        migrate(book)
    except sqlite3.OperationalError:
        raise
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:  # malformed, or no database
        raise Damaged(str(error)) from error


def require_header(path: Path) -> None:
    """Look at the file before SQLite does: it would remove the WAL of what it cannot read.

    Raise Damaged, as the checks below do.
    """
    header = b""
    if path.is_file():  # else a new one, or SQLite says what is wrong
        with path.open("rb") as file:
            header = file.read(len(_HEADER))
    if header and header != _HEADER:
        raise Damaged("it is no database")
    wal = Path(f"{path}-wal")
    if not header and wal.is_file() and wal.stat().st_size:
        raise Damaged("it is empty, and records wait beside it")


def require_sound(book: sqlite3.Connection, check: str = "quick_check") -> None:
    """Have SQLite look through the whole file; `integrity_check` holds it against its indexes."""
    (verdict,) = book.execute(f"PRAGMA {check}(1)").fetchone()
    if verdict != "ok":
        raise Damaged(str(verdict).strip().replace("\n", " "))


def require_ours(book: sqlite3.Connection) -> None:
    """Raise LogbookUnavailable for a newer program's logbook, and for another's database."""
    version = version_of(book)
    if version > len(MIGRATIONS):
        raise LogbookUnavailable(
            f"The logbook is of version {version}, written by a newer program; this one knows "
            f"{len(MIGRATIONS)}. Install the newer program again."
        )
    (tables,) = book.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    (owner,) = book.execute("PRAGMA application_id").fetchone()
    if tables and owner != APPLICATION_ID:
        raise LogbookUnavailable("The logbook's file is the database of another program.")


def set_aside(path: Path, at_utc: str) -> Path:
    """Give the logbook at `path`, and what belongs to it, a name of its own beside it."""
    aside = aside_name(path, "damaged", at_utc)
    for suffix in _SUFFIXES:
        with suppress(FileNotFoundError):
            Path(f"{path}{suffix}").rename(f"{aside}{suffix}")
    settle(path.parent)
    return aside


def aside_name(path: Path, why: str, at_utc: str) -> Path:
    """Return a name beside `path` that is free."""
    stamp = "".join(letter for letter in at_utc.removesuffix("+00:00") if letter.isalnum())
    names = (
        path.with_name(f"{path.stem}.{why}-{stamp}{more}{path.suffix}")
        for more in ("", *(f"-{number}" for number in range(2, 100)))
    )
    return next(name for name in names if not name.exists())
