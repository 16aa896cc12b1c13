"""What is read from the logbook: plain values, as they go over the wire, at most 500 rows.

Parameters have the wire's names, `id` among them (hence A002).
"""

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeVar

from etchdaemon.errors import CommandRefused

_Item = TypeVar("_Item")

ROWS_LIMIT: Final = 500
BYTES_LIMIT: Final = 48_000  # of JSON, so that an answer fits one line of 64 KiB
SLOW_RATIO: Final = 0.95

_SUMMARY: Final = (
    "id, title, gcode_sha256, head, surface, rows, recipe_feed_mm_per_min, recipe_power_ratio,"
    " recipe_line_spacing_mm, started_at_utc, is_clock_synchronised, ended, because,"
    " ended_at_utc, elapsed_s, etched_rows, continues_run_id"
)
_ROW: Final = (
    "row, samples, is_estimated, feed_mean_mm_per_min, feed_min_mm_per_min, feed_max_mm_per_min,"
    " power_mean_ratio, power_min_ratio, power_max_ratio, at_s"
)
_LAST_ID: Final = 2**63 - 1
_YES_OR_NO: Final = ("is_clock_synchronised", "recipe_is_air_assist", "is_estimated")

# A row counts by its samples: the controller reports at an even rate, so that is its beam-on time.
_COMPARISON: Final = """
    SELECT
        count(*) AS measured_rows,
        coalesce(sum(is_estimated), 0) AS estimated_rows,
        sum(samples * feed_mean_mm_per_min) / sum(iif(feed_mean_mm_per_min IS NULL, 0, samples))
            AS feed_mean_mm_per_min,
        sum(samples * power_mean_ratio) / sum(iif(power_mean_ratio IS NULL, 0, samples))
            AS power_mean_ratio,
        avg(feed_mean_mm_per_min < ?2) AS slow_rows_ratio
    FROM run_row WHERE run_id = ?1
"""
_SLOWEST: Final = """
    SELECT row, feed_mean_mm_per_min, samples, is_estimated FROM run_row
    WHERE run_id = ? AND feed_mean_mm_per_min IS NOT NULL ORDER BY feed_mean_mm_per_min LIMIT 1
"""


def runs(book: sqlite3.Connection, *, before: int | None, limit: int) -> dict[str, Any]:
    """Return runs, newest first, older than run `before`; `next_before` asks for more.

    With them come the newest notes about the logbook itself.
    """
    asked = _asked(limit)
    found = _select(
        book,
        f"SELECT {_SUMMARY} FROM run WHERE id < ? ORDER BY id DESC LIMIT ?",  # noqa: S608
        (_LAST_ID if before is None else before, asked + 1),
    )
    page = _fitting(found[:asked])
    notes = _select(book, "SELECT at_utc, text FROM logbook_note ORDER BY id DESC LIMIT 5")
    more = page[-1]["id"] if len(page) < len(found) else None
    return {"runs": page, "next_before": more, "notes": notes}


def run(book: sqlite3.Connection, *, id: int) -> dict[str, Any]:  # noqa: A002
    """Return everything about one run but its rows and events; raise CommandRefused."""
    found = _select(book, "SELECT * FROM run WHERE id = ?", (id,))
    if not found:
        raise CommandRefused(f"There is no run {id} in the logbook.")
    (columns,) = found
    sheet = json.loads(columns.pop("sheet_json"))
    del sheet["index"]
    notes = json.loads(columns.pop("notes_json"))
    return {**columns, "notes": notes, "sheet": sheet, "comparison": _comparison(book, columns)}


def run_rows(
    book: sqlite3.Connection,
    *,
    id: int,  # noqa: A002
    from_row: int,
    limit: int,
) -> dict[str, Any]:
    """Return rows from `from_row` on as lists under `columns`; `next_row` asks for more."""
    asked = _asked(limit)
    found = _select(
        book,
        f"SELECT {_ROW} FROM run_row WHERE run_id = ? AND row >= ? ORDER BY row LIMIT ?",  # noqa: S608
        (id, from_row, asked + 1),
    )
    lists = [list(row.values()) for row in found]
    page = _fitting(lists[:asked])
    more = lists[len(page)][0] if len(page) < len(lists) else None
    return {"columns": _ROW.split(", "), "rows": page, "next_row": more}


def run_events(
    book: sqlite3.Connection,
    *,
    id: int,  # noqa: A002
    after: int,
    limit: int,
) -> dict[str, Any]:
    """Return events in their order, from behind event `after`; `next_after` asks for more."""
    asked = _asked(limit)
    found = _select(
        book,
        "SELECT id, at_s, at_utc, kind, text, details_json FROM run_event"
        " WHERE run_id = ? AND id > ? ORDER BY id LIMIT ?",
        (id, after, asked + 1),
    )
    for event in found:
        event["details"] = json.loads(event.pop("details_json"))
    page = _fitting(found[:asked])
    return {"events": page, "next_after": page[-1]["id"] if len(page) < len(found) else None}


def _comparison(book: sqlite3.Connection, run: dict[str, Any]) -> dict[str, Any]:
    asked = run["recipe_feed_mm_per_min"]
    (measured,) = _select(book, _COMPARISON, (run["id"], SLOW_RATIO * asked))
    slowest = _select(book, _SLOWEST, (run["id"],))
    return {
        "feed_asked_mm_per_min": asked,
        "power_asked_ratio": run["recipe_power_ratio"],
        **measured,
        "dose_ratio": _dose_ratio(run, measured),
        "slowest_row": slowest[0] if slowest else None,
    }


def _dose_ratio(run: dict[str, Any], measured: dict[str, Any]) -> float | None:
    """Return the dose that was run over the dose asked for: power over speed, each relative."""
    feed, power = measured["feed_mean_mm_per_min"], measured["power_mean_ratio"]
    if not feed or power is None:
        return None
    dose: float = power / run["recipe_power_ratio"] * run["recipe_feed_mm_per_min"] / feed
    return dose


def _select(
    book: sqlite3.Connection, statement: str, values: Sequence[Any] = ()
) -> list[dict[str, Any]]:
    cursor = book.execute(statement, values)
    names = [column[0] for column in cursor.description]
    return [_with_truths(dict(zip(names, row, strict=True))) for row in cursor]


def _with_truths(row: dict[str, Any]) -> dict[str, Any]:
    truths = {name: bool(row[name]) for name in _YES_OR_NO if row.get(name) is not None}
    return row | truths


def _asked(limit: int) -> int:
    return max(1, min(limit, ROWS_LIMIT))


def _fitting(items: Sequence[_Item]) -> list[_Item]:
    """Return as many of `items`, from the first, as one answer can carry; at least one."""
    free_bytes = BYTES_LIMIT
    for count, item in enumerate(items):
        free_bytes -= len(json.dumps(item)) + 1
        if free_bytes < 0 and count:
            return list(items[:count])
    return list(items)


QUESTIONS: Final[Mapping[str, Callable[..., dict[str, Any]]]] = {
    question.__name__: question for question in (runs, run, run_rows, run_events)
}
