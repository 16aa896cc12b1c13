"""Rows of the logbook as plain values, and as many of them as one answer can carry."""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any, Final, TypeVar

_Item = TypeVar("_Item")

ROWS_LIMIT: Final = 500
BYTES_LIMIT: Final = 48_000  # of JSON, so that an answer fits one line of 64 KiB
LAST_ID: Final = 2**63 - 1
_SUFFIX: Final = "_json"


def select(
    book: sqlite3.Connection, statement: str, values: Sequence[Any] | Mapping[str, Any] = ()
) -> list[dict[str, Any]]:
    """Return the rows as tables; what is named `is_…` is a yes or a no."""
    cursor = book.execute(statement, values)
    names = [column[0] for column in cursor.description]
    return [_with_truths(dict(zip(names, row, strict=True))) for row in cursor]


def opened(row: dict[str, Any]) -> dict[str, Any]:
    """Return `row` with its columns `…_json` read, under their names without that word."""
    return {
        name.removesuffix(_SUFFIX): _read(value) if name.endswith(_SUFFIX) else value
        for name, value in row.items()
    }


def rows_asked(limit: int) -> int:
    """Return how many rows to answer with where `limit` are asked for."""
    return max(1, min(limit, ROWS_LIMIT))


def fitting(items: Sequence[_Item]) -> list[_Item]:
    """Return as many of `items`, from the first, as one answer can carry; at least one."""
    free_bytes = BYTES_LIMIT
    for count, item in enumerate(items):
        free_bytes -= len(json.dumps(item)) + 1
        if free_bytes < 0 and count:
            return list(items[:count])
    return list(items)


def _with_truths(row: dict[str, Any]) -> dict[str, Any]:
    truths = {
        name: bool(value)
        for name, value in row.items()
        if "is" in name.split("_") and value is not None
    }
    return row | truths


def _read(value: str | None) -> Any:
    return None if value is None else json.loads(value)
