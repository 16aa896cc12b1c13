"""Codes that are open, phones that are paired, where the page is served: in the page's database."""

import secrets
import sqlite3
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from etchweb.auth.codes import (
    CODE_LASTS_S,
    TOKEN_IDLE_S,
    TOKEN_LASTS_S,
    NewToken,
    code_digest,
    is_same,
)
from etchweb.auth.roles import Role
from etchweb.server.page_database import PageDatabase, Row, StoreUnusable
from etchwire.retention import is_credible
from etchwire.storing import fault_of_card

FILE_NAME: Final = "page.sqlite3"
SEEN_EVERY_S: Final = 600.0
_SECRET_BYTES: Final = 32
_TRIES_OF_OLD: Final = 5  # read only by the releases before this one, should a board go back to one

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
    (  # which phone did it; none for a code from the box
        "ALTER TABLE code ADD COLUMN opened_by INTEGER",
        "ALTER TABLE phone ADD COLUMN let_in_by INTEGER",
    ),
)


@dataclass(frozen=True, slots=True)
class Invitation:
    """What a code lets a phone in for; `by`: the number of the phone that opened it, if one did."""

    role: Role
    by: int | None


@dataclass(frozen=True, slots=True)
class Phone:
    """A paired phone. Times are seconds since 1970, by the box's clock.

    `by` is the number of the phone that let it in, told in lists only; None: a code from the box.
    """

    id: int
    name: str
    role: Role
    paired_at_s: float
    seen_at_s: float
    by: int | None = None


class Store:
    """What pairs phones; any thread may ask. Every method raises StoreUnusable."""

    def __init__(self, folder: Path) -> None:
        self._database = PageDatabase(folder / FILE_NAME, MIGRATIONS)
        try:
            with self._database.transaction() as book:
                self._database.migrate(book)
                self.secret = _secret(book)
        except StoreUnusable as error:
            # On a card that can only be read, whoever is paired can still stop an etch.
            if fault_of_card(error) is None or not self._database.path.exists():
                raise
            (kept,) = self._database.read_one("SELECT value FROM secret") or (None,)
            if kept is None:
                raise
            self.secret = bytes(kept)

    def add_code(self, code: str, role: Role, now_s: float, *, by: int | None = None) -> None:
        """Open `code` for one phone, from the phone `by`; codes that ran out are dropped."""
        with self._database.transaction() as book:
            book.execute("DELETE FROM code WHERE ends_at_s <= ?", (now_s,))
            book.execute(
                "INSERT INTO code (digest, role, ends_at_s, tries_left, opened_by)"
                " VALUES (?, ?, ?, ?, ?)",
                (code_digest(self.secret, code), role, now_s + CODE_LASTS_S, _TRIES_OF_OLD, by),
            )

    def use_code(self, code: str, now_s: float) -> Invitation | None:
        """Return what `code` pairs for and close it; a wrong one changes nothing."""
        digest = code_digest(self.secret, code)
        with self._database.transaction() as book:
            found = book.execute(
                "SELECT id, digest, role, opened_by FROM code"
                " WHERE ends_at_s > ? AND ends_at_s <= ?",
                (now_s, now_s + CODE_LASTS_S),  # no longer, if the clock went back
            ).fetchall()
            for number, kept, role, by in found:
                if is_same(kept, digest):
                    book.execute("DELETE FROM code WHERE id = ?", (number,))
                    return Invitation(Role(role), by)
        return None

    def add_phone(
        self, token: NewToken, name: str, role: Role, now_s: float, *, by: int | None = None
    ) -> None:
        """Let the phone that holds `token` in from now on; the phone `by` opened its code."""
        with self._database.transaction() as book:
            book.execute(
                "INSERT INTO phone (token_digest, name, role, paired_at_s, seen_at_s, let_in_by)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (token.digest, name, role, now_s, now_s, by),
            )

    def phone_of(self, digest: str, now_s: float) -> Phone | None:
        """Return the phone that holds the token of this digest, unless it is too old.

        One that was paired before the clock was set, or by one that was wrong, counts from now on.
        """
        row = self._database.read_one(f"SELECT {_PHONE} FROM phone WHERE token_digest = ?", digest)  # noqa: S608
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
        with suppress(StoreUnusable), self._database.transaction() as book:
            book.execute(
                "UPDATE phone SET paired_at_s = ?, seen_at_s = ? WHERE id = ?",
                (phone.paired_at_s, phone.seen_at_s, phone.id),
            )

    def phones(self) -> tuple[Phone, ...]:
        """Return every paired phone, the newest first."""
        with self._database.transaction() as book:
            rows = book.execute(f"SELECT {_PHONE}, let_in_by FROM phone ORDER BY id DESC")  # noqa: S608
            return tuple(map(_phone, rows))

    def let_in_by(self, number: int) -> tuple[Phone, ...]:
        """Return the phones that came in through that one, and through those; the newest first."""
        through = {number}
        for phone in reversed(self.phones()):  # whoever lets in is older
            if phone.by in through:
                through.add(phone.id)
        return tuple(phone for phone in self.phones() if phone.id in through - {number})

    def forget_phone(self, number: int) -> bool:
        """Shut a phone out, and the codes it opened; return whether there was one."""
        with self._database.transaction() as book:
            book.execute("DELETE FROM code WHERE opened_by = ?", (number,))
            return book.execute("DELETE FROM phone WHERE id = ?", (number,)).rowcount == 1

    def note_served(self, host: str, port: int) -> None:
        """Note where the page can be reached, for `etchwarden pair` to print."""
        with self._database.transaction() as book:
            book.execute("INSERT OR REPLACE INTO served VALUES (1, ?, ?)", (host, port))

    def served(self) -> tuple[str, int] | None:
        """Return host and port of the page as it was last served."""
        with self._database.transaction() as book:
            row = book.execute("SELECT host, port FROM served").fetchone()
        return None if row is None else (str(row[0]), int(row[1]))


_PHONE: Final = "id, name, role, paired_at_s, seen_at_s"


def _phone(row: Row) -> Phone:
    number, name, role, paired_at_s, seen_at_s, *by = row
    return Phone(number, name, Role(role), paired_at_s, seen_at_s, *by)


def _secret(book: sqlite3.Connection) -> bytes:
    book.execute(
        "INSERT OR IGNORE INTO secret VALUES (1, ?)", (secrets.token_bytes(_SECRET_BYTES),)
    )
    (value,) = book.execute("SELECT value FROM secret").fetchone()
    return bytes(value)
