"""The page's own small database: codes that are open, phones that are paired, where it is served.

Two processes use it, the page and `etchwarden pair`, so it keeps SQLite's rollback journal: the
write-ahead log has lost data with two writers (fixed in SQLite 3.51.3, which Debian lacks).
"""

import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from etchweb.auth.codes import (
    CODE_LASTS_S,
    TOKEN_IDLE_S,
    TOKEN_LASTS_S,
    NewToken,
    code_digest,
    is_same,
)
from etchweb.auth.roles import Role
from etchwire.retention import is_credible
from etchwire.storing import fault_of_card

FILE_NAME: Final = "page.sqlite3"
SEEN_EVERY_S: Final = 600.0
_SECRET_BYTES: Final = 32
_TRIES_OF_OLD: Final = 5  # read only by the releases before this one, should a board go back to one
_PATIENCE_S: Final = 5.0

MIGRATIONS: Final = (
    (
        "CREATE TABLE secret (id INTEGER PRIMARY KEY CHECK (id = 1), value BLOB NOT NULL) STRICT",
        """
        CREATE TABLE code (
            id INTEGER PRIMARY KEY,
            digest TEXT NOT NULL,
            role TEXT NOT NULL CHECK (role IN ('watch', 'operate')),
            ends_at_s REAL NOT NULL,
            tries_left INTEGER NOT NULL
        ) STRICT
        """,
        """
        CREATE TABLE phone (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            token_digest TEXT NOT NULL UNIQUE,
            name TEXT NOT NULL,
            role TEXT NOT NULL CHECK (role IN ('watch', 'operate')),
            paired_at_s REAL NOT NULL,
            seen_at_s REAL NOT NULL
        ) STRICT
        """,
        """
        CREATE TABLE served (
            id INTEGER PRIMARY KEY CHECK (id = 1), host TEXT NOT NULL, port INTEGER NOT NULL
        ) STRICT
        """,
    ),
)


class StoreUnusable(OSError):
    """The page's own database cannot be used; the message says which file and why."""


@dataclass(frozen=True, slots=True)
class Phone:
    """A paired phone. Times are seconds since 1970, by the box's clock."""

    id: int
    name: str
    role: Role
    paired_at_s: float
    seen_at_s: float


class Store:
    """Opens the database for each question and closes it again: any thread may ask."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE_NAME
        try:
            with self._open() as book:
                _migrate(book)
                self.secret = _secret(book)
        except StoreUnusable as error:
            # On a card that can only be read, whoever is paired can still stop an etch.
            if fault_of_card(error) is None or not self._path.exists():
                raise
            (kept,) = self._look("SELECT value FROM secret") or (None,)
            if kept is None:
                raise
            self.secret = bytes(kept)

    def add_code(self, code: str, role: Role, now_s: float) -> None:
        """Open `code` for one phone; codes that nobody can use any more are dropped."""
        with self._open() as book:
            book.execute("DELETE FROM code WHERE ends_at_s <= ?", (now_s,))
            book.execute(
                "INSERT INTO code (digest, role, ends_at_s, tries_left) VALUES (?, ?, ?, ?)",
                (code_digest(self.secret, code), role, now_s + CODE_LASTS_S, _TRIES_OF_OLD),
            )

    def use_code(self, code: str, now_s: float) -> Role | None:
        """Return what `code` pairs for and close it; a wrong one changes nothing."""
        digest = code_digest(self.secret, code)
        with self._open() as book:
            found = book.execute(
                "SELECT id, digest, role FROM code WHERE ends_at_s > ? AND ends_at_s <= ?",
                (now_s, now_s + CODE_LASTS_S),  # no longer, if the clock went back
            ).fetchall()
            for number, kept, role in found:
                if is_same(kept, digest):
                    book.execute("DELETE FROM code WHERE id = ?", (number,))
                    return Role(role)
        return None

    def add_phone(self, token: NewToken, name: str, role: Role, now_s: float) -> None:
        """Let the phone that holds `token` in from now on."""
        with self._open() as book:
            book.execute(
                "INSERT INTO phone (token_digest, name, role, paired_at_s, seen_at_s)"
                " VALUES (?, ?, ?, ?, ?)",
                (token.digest, name, role, now_s, now_s),
            )

    def phone_of(self, digest: str, now_s: float) -> Phone | None:
        """Return the phone that holds the token of this digest, unless it is too old.

        One that was paired before the clock was set, or by one that was wrong, counts from now on.
        """
        row = self._look(f"SELECT {_PHONE} FROM phone WHERE token_digest = ?", digest)  # noqa: S608
        if row is None:
            return None
        phone = _phone(row)
        if not is_credible(phone.paired_at_s, now_s=now_s):
            phone = replace(phone, paired_at_s=now_s, seen_at_s=now_s)
            self._note(phone)
        elif phone.seen_at_s <= now_s - TOKEN_IDLE_S or phone.paired_at_s <= now_s - TOKEN_LASTS_S:
            return None
        elif now_s - phone.seen_at_s > SEEN_EVERY_S:
            self._note(replace(phone, seen_at_s=now_s))
        return phone

    def _note(self, phone: Phone) -> None:
        """Note when a phone was paired and seen; a full card keeps nobody from stopping."""
        with suppress(StoreUnusable), self._open() as book:
            book.execute(
                "UPDATE phone SET paired_at_s = ?, seen_at_s = ? WHERE id = ?",
                (phone.paired_at_s, phone.seen_at_s, phone.id),
            )

    def phones(self) -> tuple[Phone, ...]:
        """Return every paired phone, the newest first."""
        with self._open() as book:
            rows = book.execute(f"SELECT {_PHONE} FROM phone ORDER BY id DESC")  # noqa: S608
            return tuple(map(_phone, rows))

    def forget_phone(self, number: int) -> bool:
        """Shut a phone out; return whether there was one of that number."""
        with self._open() as book:
            return book.execute("DELETE FROM phone WHERE id = ?", (number,)).rowcount == 1

    def note_served(self, host: str, port: int) -> None:
        """Note where the page can be reached, for `etchwarden pair` to print."""
        with self._open() as book:
            book.execute("INSERT OR REPLACE INTO served VALUES (1, ?, ?)", (host, port))

    def served(self) -> tuple[str, int] | None:
        """Return host and port of the page as it was last served."""
        with self._open() as book:
            row = book.execute("SELECT host, port FROM served").fetchone()
        return None if row is None else (str(row[0]), int(row[1]))

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """Give a connection inside one transaction, which commits at the end."""
        try:
            self._make_private()
            book = sqlite3.connect(self._path, timeout=_PATIENCE_S, isolation_level=None)
            try:
                book.execute("BEGIN IMMEDIATE")
                with book:
                    yield book
            finally:
                book.close()
        except (sqlite3.Error, OSError) as error:
            told = fault_of_card(error) or error
            raise StoreUnusable(f"{self._path} cannot be used: {told}.") from error

    def _look(self, question: str, *values: Any) -> tuple[Any, ...] | None:
        """Return the row asked for, also from a card that takes nothing any more."""
        address = f"{self._path.resolve().as_uri()}?mode=ro"
        try:
            with closing(sqlite3.connect(address, timeout=_PATIENCE_S, uri=True)) as book:
                found = book.execute(question, values).fetchone()
        except sqlite3.Error:  # a killed program's half transaction has to be undone first
            with self._open() as book:
                found = book.execute(question, values).fetchone()
        return None if found is None else tuple(found)

    def _make_private(self) -> None:
        os.close(os.open(self._path, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600))


_PHONE: Final = "id, name, role, paired_at_s, seen_at_s"


def _phone(row: tuple[Any, ...]) -> Phone:
    number, name, role, paired_at_s, seen_at_s = row
    return Phone(number, name, Role(role), paired_at_s, seen_at_s)


def _migrate(book: sqlite3.Connection) -> None:
    (done,) = book.execute("PRAGMA user_version").fetchone()
    if done > len(MIGRATIONS):
        raise sqlite3.DatabaseError("it was made by a newer Etchwarden")
    for number, statements in enumerate(MIGRATIONS[done:], start=done + 1):
        for statement in statements:
            book.execute(statement)
        book.execute(f"PRAGMA user_version = {number}")


def _secret(book: sqlite3.Connection) -> bytes:
    book.execute(
        "INSERT OR IGNORE INTO secret VALUES (1, ?)", (secrets.token_bytes(_SECRET_BYTES),)
    )
    (value,) = book.execute("SELECT value FROM secret").fetchone()
    return bytes(value)
