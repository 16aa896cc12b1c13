"""How entries are filed: the statement of an insert, and what the craft's entries share."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from etchdaemon.errors import CommandRefused

_WORDS: Final = {
    "head": "laser",
    "lot": "painting lot",
    "customer_order": "order",
    "order_item": "item",
}


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who noted something, when, and with which version of the program."""

    who: str
    at_utc: str
    software: str


def insert(
    book: sqlite3.Connection,
    table: str,
    columns: Mapping[str, object],
    *,
    verb: str = "INSERT",
    more: str = "",
) -> int | None:
    """Insert a row and return its number."""
    places = ", ".join("?" * len(columns))
    statement = f"{verb} INTO {table} ({', '.join(columns)}) VALUES ({places}) {more}"
    return book.execute(statement, tuple(columns.values())).lastrowid


def newest_run(book: sqlite3.Connection) -> int:
    """Return the newest run's number, 0 before the first."""
    (run,) = book.execute("SELECT coalesce(max(id), 0) FROM run").fetchone()
    return int(run)


def changed(stamp: Stamp, *, is_practice: bool) -> dict[str, object]:
    """Return the columns of what is written over when it changes."""
    return {"is_practice": is_practice, "who": stamp.who, "changed_at_utc": stamp.at_utc}


def made(stamp: Stamp, book: sqlite3.Connection) -> dict[str, object]:
    """Return the columns of what is made once."""
    return {
        "at_utc": stamp.at_utc,
        "after_run_id": newest_run(book),
        "who": stamp.who,
        "software": stamp.software,
    }


def pair(book: sqlite3.Connection, head: str, surface: str) -> dict[str, str]:
    """Return the names of both, and the surface as it is now."""
    require(book, "head", head)
    require(book, "surface", surface)
    (table,) = book.execute(
        "SELECT surface_json FROM surface WHERE name = ?", (surface,)
    ).fetchone()
    return {"head": head, "surface": surface, "found_on_json": table}


def put(book: sqlite3.Connection, table: str, columns: Mapping[str, object]) -> int | None:
    """Insert a row, or write it over the one of its name."""
    changes = ", ".join(f"{name} = excluded.{name}" for name in columns if name != "name")
    return insert(book, table, columns, more=f"ON CONFLICT (name) DO UPDATE SET {changes}")


def has(book: sqlite3.Connection, table: str, value: object, *, key: str = "name") -> bool:
    """Return whether the table has a row with that key."""
    found = book.execute(f"SELECT 1 FROM {table} WHERE {key} = ?", (value,)).fetchone()  # noqa: S608
    return found is not None


def require(book: sqlite3.Connection, table: str, value: object, *, key: str = "name") -> None:
    """Raise CommandRefused, with a sentence, unless it has."""
    if has(book, table, value, key=key):
        return
    if key == "name":
        word = _WORDS.get(table, table)
        raise CommandRefused(f"The logbook knows no {word} {value!r}: save it first.")
    raise CommandRefused(f"There is no {_WORDS.get(table, table)} {value} in the logbook.")
