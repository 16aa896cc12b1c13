"""Rows of the logbook as the types of the wire, and as many of them as one answer can carry."""

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any, Final, TypeVar, get_args, get_type_hints

from etchwire.calls.json_values import to_json_value
from etchwire.plain import Plain

_Row = TypeVar("_Row")

ROWS_LIMIT: Final = 500
BYTES_LIMIT: Final = 48_000  # of JSON, so that an answer fits one line of 64 KiB
LAST_ID: Final = 2**63 - 1
_SUFFIX: Final = "_json"

Values = Sequence[object] | Mapping[str, object]
_Reading = Callable[[object], object]


def select(
    book: sqlite3.Connection, kind: Callable[..., _Row], statement: str, values: Values = ()
) -> list[_Row]:
    """Return the rows, each as a `kind`, whose entries are named as the columns are.

    A column `…_json` is read and goes under its name without that word. What `kind` says of an
    entry makes a yes or a no of a number, and a record of a table.
    """
    cursor = book.execute(statement, values)
    names = [column[0] for column in cursor.description]
    return [kind(**as_entries(kind, dict(zip(names, row, strict=True)))) for row in cursor]


def as_entries(kind: Callable[..., object], columns: Mapping[str, object]) -> dict[str, Any]:
    """Return `columns` as `kind` is made of them."""
    opened = {
        name.removesuffix(_SUFFIX): json.loads(value)
        if name.endswith(_SUFFIX) and isinstance(value, str)
        else value
        for name, value in columns.items()
    }
    readings = _readings(kind)
    return opened | {
        name: read(opened[name]) for name, read in readings.items() if opened.get(name) is not None
    }


@cache
def _readings(kind: Callable[..., object]) -> dict[str, _Reading]:
    """Return how the entries are read that the logbook keeps otherwise than `kind` has them."""
    found: dict[str, _Reading] = {}
    for name, hint in get_type_hints(kind).items():
        for one in (hint, *get_args(hint)):
            if one is bool:
                found[name] = bool
            elif isinstance(one, type) and issubclass(one, Plain):
                found[name] = one.from_table  # type: ignore[assignment]
    return found


def rows_asked(limit: int) -> int:
    """Return how many rows to answer with where `limit` are asked for."""
    return max(1, min(limit, ROWS_LIMIT))


def fitting(items: Sequence[_Row]) -> tuple[_Row, ...]:
    """Return as many of `items`, from the first, as one answer can carry; at least one."""
    free_bytes = BYTES_LIMIT
    for count, item in enumerate(items):
        free_bytes -= len(json.dumps(to_json_value(item))) + 1
        if free_bytes < 0 and count:
            return tuple(items[:count])
    return tuple(items)
