"""A backup put in the logbook's place: the file that is there is kept, and no step can lose it."""

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchdaemon.errors import BackupFailed, LogbookUnavailable
from etchdaemon.logbook.backup.backup import UNREADABLE, Copy, damage, look_at
from etchdaemon.logbook.backup.sums import is_as_written
from etchdaemon.logbook.schema.opening import aside_name, cause, require_header
from etchdaemon.logbook.schema.steps import migrate, transaction
from etchdaemon.logbook.write.entries import end_open_runs, write_note
from etchwire.storing import settle

_BESIDE: Final = ("-wal", "-shm")
_MADE_DURING: Final = "The backup that was restored was made during this run: how it ended is lost."


@dataclass(frozen=True, slots=True)
class Restored:
    """What is the logbook now, and where the one before it is kept.

    `is_as_written` is False where no sum lay beside the backup, so that nothing proves it.
    """

    backup: Copy
    aside: Path | None
    is_as_written: bool


def restore(backup: Path, logbook: Path, *, at_utc: str) -> Restored:
    """Put `backup` in the place of `logbook`.

    The caller holds the folder's lock. Raise BackupFailed, and then the old one is in its place.
    """
    arriving = logbook.with_name(f".restoring-{logbook.name}")
    aside = aside_name(logbook, "replaced", at_utc) if logbook.exists() else None
    try:
        with _cleared_away(arriving):
            is_proved = _bring(backup, arriving)
            found = look_at(arriving, called=backup)
            _make_ready(arriving, f"Restored from {backup.name}.", at_utc)
            if aside is not None:
                _calm(logbook, aside)
                os.link(logbook, aside)
            arriving.replace(logbook)
            settle(logbook.parent)
    except (OSError, sqlite3.Error, LogbookUnavailable) as error:
        raise BackupFailed(f"{backup} was not restored: {cause(error)}.") from error
    return Restored(found, aside, is_proved)


@contextmanager
def _cleared_away(path: Path) -> Iterator[None]:
    try:
        yield
    finally:
        for suffix in ("", *_BESIDE, "-journal"):
            with suppress(OSError):
                Path(f"{path}{suffix}").unlink()


def _bring(backup: Path, arriving: Path) -> bool:
    """Copy the file, and what SQLite had not yet brought into it, and make them one.

    Return whether the copy was proved to be what was written.
    """
    if not backup.is_file():
        raise BackupFailed(f"There is no file {backup}.")
    for suffix in ("", *_BESIDE):
        Path(f"{arriving}{suffix}").unlink(missing_ok=True)
    try:
        require_header(backup)
        shutil.copyfile(backup, arriving)
        is_proved = is_as_written(arriving, called=backup)
        with suppress(FileNotFoundError):
            shutil.copyfile(f"{backup}-wal", f"{arriving}-wal")
        with closing(sqlite3.connect(arriving, isolation_level=None)) as book:
            book.execute("PRAGMA journal_mode = DELETE").fetchall()
    except UNREADABLE as error:
        raise BackupFailed(f"{backup} is damaged or no logbook: {damage(error)}.") from error
    return is_proved


def _make_ready(arriving: Path, note: str, at_utc: str) -> None:
    with closing(sqlite3.connect(arriving, isolation_level=None)) as book:
        migrate(book)
        with transaction(book):
            open_runs = book.execute("SELECT id FROM run WHERE ended IS NULL").fetchall()
            end_open_runs(book, at_utc)
            for (run,) in open_runs:
                book.execute("UPDATE run SET because = ? WHERE id = ?", (_MADE_DURING, run))
            write_note(book, at_utc, note)
    keeper = arriving.parent.stat()
    if os.geteuid() == 0:  # the daemon's own user has to be able to write it
        os.chown(arriving, keeper.st_uid, keeper.st_gid)
    with arriving.open("rb") as file:
        os.fsync(file.fileno())


def _calm(logbook: Path, aside: Path) -> None:
    """Leave nothing beside the old file that SQLite would take for a part of the new one."""
    try:
        require_header(logbook)
        with closing(sqlite3.connect(logbook, isolation_level=None)) as book:
            book.execute("PRAGMA journal_mode = DELETE").fetchall()
    except UNREADABLE as error:
        if getattr(error, "sqlite_errorname", "") == "SQLITE_BUSY":
            raise BackupFailed("The logbook is in use. Stop the daemon first.") from error
    for suffix in _BESIDE:
        with suppress(FileNotFoundError):
            Path(f"{logbook}{suffix}").rename(f"{aside}{suffix}")
    settle(logbook.parent)
