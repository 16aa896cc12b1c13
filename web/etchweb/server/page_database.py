"""The page's own small databases: opened for each question and closed again, so any thread may ask.

Two processes use them, the page and commands beside it, so they keep SQLite's rollback journal: the
write-ahead log has lost data with two writers (fixed in SQLite 3.51.3, which Debian lacks).
"""

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Final, TypeAlias

from etchwire.storing import fault_of_card

Row: TypeAlias = tuple[Any, ...]  # as SQLite gives it

_PATIENCE_S: Final = 5.0


class StoreUnusable(OSError):
    """The page's own database cannot be used; the message says which file and why."""


class PageDatabase:
    """One database file, readable by its owner alone.

    `migrations` are the steps of its schema, each some statements; `user_version` counts those
    that are done. They are caught up with by `migrate`.
    """

    def __init__(self, path: Path, migrations: Sequence[Sequence[str]]) -> None:
        self.path = path
        self._migrations = migrations

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Give a connection inside one transaction, which commits at the end.

        Raise StoreUnusable.
        """
        try:
            os.close(os.open(self.path, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600))
            with closing(
                sqlite3.connect(self.path, timeout=_PATIENCE_S, isolation_level=None)
            ) as book:
                book.execute("BEGIN IMMEDIATE")
                with book:
                    yield book
        except (sqlite3.Error, OSError) as error:
            reason = fault_of_card(error) or error
            raise StoreUnusable(f"{self.path} cannot be used: {reason}.") from error

    def migrate(self, book: sqlite3.Connection) -> None:
        """Bring the schema up to date; a newer release's database is refused."""
        (done,) = book.execute("PRAGMA user_version").fetchone()
        if done > len(self._migrations):
            raise sqlite3.DatabaseError("it was made by a newer Etchwarden")
        for number, statements in enumerate(self._migrations[done:], start=done + 1):
            for statement in statements:
                book.execute(statement)
            book.execute(f"PRAGMA user_version = {number}")

    def read_one(self, question: str, *values: object) -> Row | None:
        """Return the row asked for, also from a card that takes nothing any more."""
        address = f"{self.path.resolve().as_uri()}?mode=ro"
        try:
            with closing(sqlite3.connect(address, timeout=_PATIENCE_S, uri=True)) as book:
                found = book.execute(question, values).fetchone()
        except sqlite3.Error:  # a killed program's half transaction has to be undone first
            with self.transaction() as book:
                found = book.execute(question, values).fetchone()
        return None if found is None else tuple(found)
