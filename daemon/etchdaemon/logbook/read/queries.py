"""What is read from the logbook: plain values, as they go over the wire, at most 500 rows.

Parameters have the wire's names, `id` among them (hence A002).
"""

import json
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any, Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.read.catalogue_queries import (
    card,
    cards,
    heads,
    reading,
    readings,
    recipes,
    surfaces,
)
from etchdaemon.logbook.read.selecting import LAST_ID, fitting, rows_asked, select
from etchdaemon.logbook.read.time_line import history, time_line

SLOW_RATIO: Final = 0.95

_SUMMARY: Final = (
    "id, title, gcode_sha256, head, surface, rows, recipe_feed_mm_per_min, recipe_power_ratio,"
    " recipe_line_spacing_mm, started_at_utc, is_clock_synchronised, ended, because,"
    " ended_at_utc, elapsed_s, etched_rows, continues_run_id, feed_run_mm_per_min,"
    " power_run_ratio, beam_s,"
    " (SELECT verdict FROM verdict WHERE run_id = run.id ORDER BY id DESC LIMIT 1) AS verdict"
)
_ROW: Final = (
    "row, samples, is_estimated, feed_mean_mm_per_min, feed_min_mm_per_min, feed_max_mm_per_min,"
    " power_mean_ratio, power_min_ratio, power_max_ratio, at_s"
)

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


# A search: a day counts to its end, a text may stand anywhere in what people wrote.
SOUGHT: Final = ("head", "surface", "since", "until", "text")
_RUNS: Final = f"""
    SELECT {_SUMMARY} FROM run WHERE id < :before
    AND (:head = '' OR head = :head) AND (:surface = '' OR surface = :surface)
    AND (:since = '' OR started_at_utc >= :since)
    AND (:until = '' OR started_at_utc <= :until || '~')
    AND (:text = '' OR instr(lower(title || ' ' || head || ' ' || surface || ' ' ||
        coalesce(because, '') || ' ' || coalesce((SELECT group_concat(
            verdict || ' ' || cause || ' ' || note, ' ') FROM verdict WHERE run_id = run.id), '')
        ), lower(:text)))
    ORDER BY id DESC LIMIT :rows
"""  # noqa: S608 (made of constants)

_VERDICTS: Final = (
    "SELECT id, verdict, cause, note, photo, at_utc, who FROM verdict WHERE run_id = ? ORDER BY id"
)


def runs(
    book: sqlite3.Connection, *, before: int | None, limit: int, **sought: str
) -> dict[str, Any]:
    """Return runs, newest first, older than run `before`; `next_before` asks for more.

    They have what is `sought`: `head`, `surface`, days `since` and `until` (as 2026-11-25), and
    `text` in title, names, end or verdict. With them come the newest notes about the logbook.
    """
    asked = rows_asked(limit)
    values: dict[str, Any] = {name: sought.get(name, "") for name in SOUGHT}
    values |= {"before": LAST_ID if before is None else before, "rows": asked + 1}
    found = select(book, _RUNS, values)
    page = fitting(found[:asked])
    notes = select(book, "SELECT at_utc, text FROM logbook_note ORDER BY id DESC LIMIT 5")
    more = page[-1]["id"] if len(page) < len(found) else None
    return {"runs": page, "next_before": more, "notes": notes}


def proofs(book: sqlite3.Connection) -> dict[str, Any]:
    """Return the day on which each safety contact was last seen to open, by its input."""
    found = book.execute("SELECT input, max(at_utc) FROM input_proof GROUP BY input")
    return {name: at_utc[:10] for name, at_utc in found}


def last_pin_map(book: sqlite3.Connection) -> dict[str, Any]:
    """Return the pins of the inputs as noted last, and which were `proven` at them since.

    `is_first`: no other was known before. Empty where none was ever noted.
    """
    found = select(book, "SELECT id, inputs_json, last_proof_id FROM pin_map ORDER BY id DESC")
    if not found:
        return {}
    newest = found[0]
    proven = book.execute(
        "SELECT DISTINCT input FROM input_proof WHERE id > ?", (newest["last_proof_id"],)
    )
    return {
        "inputs_json": newest["inputs_json"],
        "is_first": len(found) == 1,
        "proven": [name for (name,) in proven],
    }


def last_relay_test(book: sqlite3.Connection) -> dict[str, Any]:
    """Return the `day` of the safety relay's last test and whether it `has_passed`; else empty."""
    found = select(book, "SELECT at_utc, has_passed FROM relay_test ORDER BY id DESC LIMIT 1")
    if not found:
        return {}
    return {"day": found[0]["at_utc"][:10], "has_passed": bool(found[0]["has_passed"])}


def last_origin(book: sqlite3.Connection) -> dict[str, Any]:
    """Return the origin that was set last, and the last run that began from it; empty if none."""
    found = select(
        book,
        "SELECT x_mm, y_mm, left_mm, bottom_mm, right_mm, top_mm,"
        " (SELECT max(id) FROM run WHERE id >= first_run_id) AS run"
        " FROM origin ORDER BY id DESC LIMIT 1",
        (),
    )
    return found[0] if found else {}


def run(book: sqlite3.Connection, *, id: int) -> dict[str, Any]:  # noqa: A002
    """Return everything about one run but its rows and events; raise CommandRefused."""
    found = select(book, "SELECT * FROM run WHERE id = ?", (id,))
    if not found:
        raise CommandRefused(f"There is no run {id} in the logbook.")
    (columns,) = found
    sheet = json.loads(columns.pop("sheet_json"))
    del sheet["index"]
    notes = json.loads(columns.pop("notes_json"))
    verdicts = select(book, _VERDICTS, (id,))
    (later,) = select(book, "SELECT max(id) AS run FROM run WHERE continues_run_id = ?", (id,))
    return {
        **columns,
        "continued_by_run_id": later["run"],
        "notes": notes,
        "sheet": sheet,
        "comparison": _comparison(book, columns),
        "verdicts": verdicts,
    }


def run_rows(
    book: sqlite3.Connection,
    *,
    id: int,  # noqa: A002
    from_row: int,
    limit: int,
) -> dict[str, Any]:
    """Return rows from `from_row` on as lists under `columns`; `next_row` asks for more."""
    asked = rows_asked(limit)
    found = select(
        book,
        f"SELECT {_ROW} FROM run_row WHERE run_id = ? AND row >= ? ORDER BY row LIMIT ?",  # noqa: S608
        (id, from_row, asked + 1),
    )
    lists = [list(row.values()) for row in found]
    page = fitting(lists[:asked])
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
    asked = rows_asked(limit)
    found = select(
        book,
        "SELECT id, at_s, at_utc, kind, text, details_json FROM run_event"
        " WHERE run_id = ? AND id > ? ORDER BY id LIMIT ?",
        (id, after, asked + 1),
    )
    for event in found:
        event["details"] = json.loads(event.pop("details_json"))
    page = fitting(found[:asked])
    return {"events": page, "next_after": page[-1]["id"] if len(page) < len(found) else None}


def _comparison(book: sqlite3.Connection, run: dict[str, Any]) -> dict[str, Any]:
    asked = run["recipe_feed_mm_per_min"]
    (measured,) = select(book, _COMPARISON, (run["id"], SLOW_RATIO * asked))
    slowest = select(book, _SLOWEST, (run["id"],))
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


QUESTIONS: Final[Mapping[str, Callable[..., dict[str, Any]]]] = {
    question.__name__: question
    for question in (
        runs, run, run_rows, run_events, heads, surfaces, recipes, cards, card, readings, reading,
        time_line, history, proofs, last_pin_map, last_relay_test, last_origin,
    )
}  # fmt: skip
