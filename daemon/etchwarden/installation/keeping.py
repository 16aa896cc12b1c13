"""Copies of the records, made before a release may rewrite them, and put back when it failed.

The daemons are stopped then, so files may be copied; each copy is checked before it counts.
"""

import os
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from etchwarden.installation.errors import StepFailed
from etchwarden.installation.paths import Places
from etchwire.storing import settle

LOGBOOK_NAME: Final = "logbook.sqlite3"
PAGE_BOOKS: Final = "*.sqlite3"
COPIES_FOLDER: Final = "before-updates"
KEPT: Final = 3
BESIDE: Final = ("-wal", "-journal")  # what a process that died has left beside its database


@dataclass(frozen=True, slots=True)
class Copy:
    """A database that is in use, and the checked copy of it."""

    live: Path
    kept: Path


def copy_records(places: Places, earlier: Sequence[Copy] = ()) -> Iterator[Copy]:
    """Copy each machine's logbook and the page's book; raise StepFailed if a copy is unsound.

    Yield what to put back: a book that a change cut short has rewritten since, as it was before,
    by the copy in `earlier`.
    """
    before = {copy.live: copy for copy in earlier if copy.kept.exists()}
    books = [places.records / name / LOGBOOK_NAME for name in places.machines()]
    for book in (*books, *sorted(places.page_records.glob(PAGE_BOOKS))):
        first = before.get(book)
        if book.exists():
            copy = Copy(book, _copy(book, keep=first))
            is_rewritten = first is not None and _schema(first.kept) != _schema(copy.kept)
            yield first if first is not None and is_rewritten else copy
        elif first is not None:
            yield first


def put_back(copy: Copy) -> bool:
    """Put the copy in the live book's place, if its schema was changed; return whether it was.

    The book as it was left is set aside, never thrown away. After a power cut at any moment the
    live book is the one that was left or the one put back.
    """
    _bring_in_journals(copy.live)
    if _schema(copy.live) == _schema(copy.kept):
        return False
    draft = copy.live.with_name(f"{copy.live.name}.put-back")
    shutil.copyfile(copy.kept, draft)
    _give_to(owner_of=copy.live if copy.live.exists() else copy.live.parent, to=draft)
    settle(draft)
    _set_aside(copy.live)
    draft.replace(copy.live)
    settle(copy.live.parent)
    return True


def _bring_in_journals(book: Path) -> None:
    """Have a book that nobody has open stand alone: its journal must not meet another book."""
    if book.exists():
        with suppress(sqlite3.Error), closing(sqlite3.connect(book)) as opened:
            opened.execute("PRAGMA journal_mode = DELETE")


def _set_aside(book: Path) -> None:
    """Keep the book under another name as well; its own name is free to be replaced then."""
    if not book.exists():
        return
    aside = book.with_name(f"{book.name}.after-update-{_now()}")
    for ending in BESIDE:  # left only where the book is damaged
        beside = book.with_name(book.name + ending)
        if beside.exists():
            beside.replace(aside.with_name(aside.name + ending))
    os.link(book, aside)
    settle(book.parent)


def _give_to(*, owner_of: Path, to: Path) -> None:
    owner = owner_of.stat()
    os.chown(to, owner.st_uid, owner.st_gid)
    to.chmod(owner.st_mode & 0o666)


def _copy(book: Path, keep: Copy | None) -> Path:
    folder = book.parent / COPIES_FOLDER
    folder.mkdir(exist_ok=True, mode=0o700)
    kept = folder / f"{_now()}-{book.name}"
    try:
        copy_with_its_journals(book, kept)
        _require_sound(kept)
        settle(kept)
        settle(folder)
    except (OSError, sqlite3.Error) as error:
        for half in folder.glob(f"{kept.name}*"):
            half.unlink()
        raise StepFailed(f"{book} could not be copied: {error}. Nothing was changed.") from error
    whole = [path for path in sorted(folder.glob(f"*-{book.name}")) if path != kept]
    for old in whole[: 1 - KEPT]:
        if keep is None or old != keep.kept:
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
        raise sqlite3.DatabaseError(f"its copy is not sound: {verdict}")


def _schema(book: Path) -> int | None:
    """Read the schema's number from a book that stands alone; None where there is none to read."""
    if not book.exists():
        return None
    try:
        with closing(sqlite3.connect(book)) as opened:
            (version,) = opened.execute("PRAGMA user_version").fetchone()
            return int(version)
    except sqlite3.Error:
        return None


def _now() -> str:
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
