"""Copies of the records, made before a release may rewrite them, and put back when it failed.

The daemons are stopped then, so files may be copied; each copy is checked before it counts.
"""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from etchwarden.installation.errors import StepFailed
from etchwarden.installation.places import Places

LOGBOOK_NAME: Final = "logbook.sqlite3"
PAGE_BOOK_NAME: Final = "page.sqlite3"
COPIES_FOLDER: Final = "before-updates"
KEPT: Final = 3
BESIDE: Final = ("-wal", "-journal")  # what a process that died has left beside its database


@dataclass(frozen=True, slots=True)
class Copy:
    """A database that is in use, and the checked copy of it."""

    live: Path
    kept: Path


def copy_records(places: Places) -> Iterator[Copy]:
    """Copy each machine's logbook and the page's book; raise StepFailed if a copy is unsound."""
    books = [places.records / name / LOGBOOK_NAME for name in places.machines()]
    for book in (*books, places.page_records / PAGE_BOOK_NAME):
        if book.exists():
            yield Copy(book, _copy(book))


def put_back(copy: Copy) -> bool:
    """Put the copy in the live book's place, if its schema was changed; return whether it was.

    The book as it was left is set aside, never thrown away.
    """
    if _schema(copy.live) == _schema(copy.kept):
        return False
    aside = copy.live.with_name(f"{copy.live.name}.after-update-{_now()}")
    for ending in ("", *BESIDE):
        beside = copy.live.with_name(copy.live.name + ending)
        if beside.exists():
            beside.replace(aside.with_name(aside.name + ending))
    owner = aside.stat()
    draft = copy.live.with_name(f"{copy.live.name}.put-back")
    shutil.copyfile(copy.kept, draft)
    os.chown(draft, owner.st_uid, owner.st_gid)
    draft.chmod(owner.st_mode & 0o777)
    draft.replace(copy.live)
    os.sync()
    return True


def _copy(book: Path) -> Path:
    folder = book.parent / COPIES_FOLDER
    folder.mkdir(exist_ok=True, mode=0o700)
    kept = folder / f"{_now()}-{book.name}"
    try:
        copy_with_its_journals(book, kept)
        _require_sound(kept)
        os.sync()
    except (OSError, sqlite3.Error) as error:
        raise StepFailed(f"{book} could not be copied: {error}.") from error
    for old in sorted(folder.glob(f"*-{book.name}"))[:-KEPT]:
        old.unlink()
    return kept


def copy_with_its_journals(book: Path, target: Path) -> None:
    """Copy a book that nobody has open, with what a process that died has left beside it."""
    for ending in ("", *BESIDE):
        beside = book.with_name(book.name + ending)
        if beside.exists():
            shutil.copyfile(beside, target.with_name(target.name + ending))


def _require_sound(kept: Path) -> None:
    """Check the copy; opening it also brings in what was left beside it."""
    with closing(sqlite3.connect(kept)) as copy:
        (verdict,) = copy.execute("PRAGMA integrity_check").fetchone()
        copy.execute("PRAGMA journal_mode = DELETE")
    if verdict != "ok":
        raise StepFailed(f"The copy of the records is not sound: {verdict}. Nothing was changed.")


def _schema(book: Path) -> int:
    """Read the schema's number from a copy: opening a book leaves files of root's beside it."""
    with tempfile.TemporaryDirectory() as folder:
        seen = Path(folder) / book.name
        copy_with_its_journals(book, seen)
        with closing(sqlite3.connect(seen)) as opened:
            (version,) = opened.execute("PRAGMA user_version").fetchone()
            return int(version)


def _now() -> str:
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
