"""What is read from the logbook: answers of the wire's types, at most 500 rows each."""

import sqlite3
from collections.abc import Callable, Mapping
from typing import Final, TypeVar, cast

from msgspec import structs

from etchdaemon.errors import CommandRefused, LogbookUnavailable
from etchdaemon.logbook.read.catalogue_queries import (
    card,
    cards,
    extraction_filter,
    heads,
    jigs,
    lots,
    reading,
    readings,
    recipes,
    surfaces,
)
from etchdaemon.logbook.read.order_queries import order, orders, shop
from etchdaemon.logbook.read.selecting import LAST_ID, as_entries, fitting, rows_asked, select
from etchdaemon.logbook.read.time_line import history, time_line
from etchdaemon.logbook.schema.catalogue_steps import LOT_OF_TILE
from etchwire.calls.call import AnyCall, Call
from etchwire.calls.catalogue import (
    Card,
    Cards,
    Filter,
    Heads,
    Jigs,
    Lots,
    Reading,
    Readings,
    Recipes,
    Surfaces,
)
from etchwire.calls.history import (
    Comparison,
    LogbookNote,
    Run,
    RunEvent,
    RunEvents,
    RunEventsPage,
    RunRecord,
    RunRow,
    RunRows,
    RunRowsPage,
    Runs,
    RunsPage,
    RunSummary,
    RunTile,
    SlowestRow,
    Verdict,
)
from etchwire.calls.orders import Order, Orders, Shop
from etchwire.calls.time_line import History, TimeLine
from etchwire.catalogue.records import UNRATED
from etchwire.errors import UnreadableSheet

_Answer = TypeVar("_Answer")

SLOW_RATIO: Final = 0.95

_LAST_VERDICT: Final = (
    "(SELECT verdict FROM verdict WHERE run_id = run.id AND pocket IS NULL"
    " ORDER BY id DESC LIMIT 1)"
)
# What was said last of each tile of a run of several.
_TILE_VERDICTS: Final = """(
    SELECT {what} FROM verdict AS said WHERE run_id = run.id AND pocket IS NOT NULL AND id = (
        SELECT max(id) FROM verdict WHERE run_id = run.id AND pocket = said.pocket)
)"""
_SUMMARY: Final = (
    "id, title, gcode_sha256, head, surface, rows, recipe_feed_mm_per_min, recipe_power_ratio,"
    " recipe_line_spacing_mm, started_at_utc, is_clock_synchronised, ended, because,"
    " ended_at_utc, elapsed_s, etched_rows, continues_run_id, feed_run_mm_per_min,"
    f" power_run_ratio, beam_s, {_LAST_VERDICT} AS verdict,"
    f" {_TILE_VERDICTS.format(what='json_group_object(pocket, verdict)')} AS tile_verdicts_json"
)
_ROW: Final = ", ".join(RunRow._fields)

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


# Of a run of several every tile that was begun is to be rated.
_IS_UNRATED: Final = f"""(
    {_LAST_VERDICT} IS NULL AND (
        NOT EXISTS (SELECT 1 FROM run_tile WHERE run_id = run.id)
        OR EXISTS (SELECT 1 FROM run_tile WHERE run_id = run.id AND first_row < etched_rows
            AND NOT EXISTS (SELECT 1 FROM verdict WHERE run_id = run.id
                AND verdict.pocket = run_tile.pocket))
    )
)"""  # noqa: S608 (made of constants)
# A search: a day counts to its end, a text may stand anywhere in what people wrote.
_RUNS: Final = f"""
    SELECT {_SUMMARY} FROM run WHERE id < :before
    AND (:head = '' OR head = :head) AND (:surface = '' OR surface = :surface)
    AND (:since = '' OR started_at_utc >= :since)
    AND (:until = '' OR started_at_utc <= :until || '~')
    AND CASE :verdict
        WHEN '' THEN 1
        WHEN '{UNRATED}' THEN {_IS_UNRATED}
        ELSE {_LAST_VERDICT} = :verdict OR :verdict IN {_TILE_VERDICTS.format(what="verdict")}
    END
    AND (:text = '' OR instr(lower(title || ' ' || head || ' ' || surface || ' ' ||
        coalesce(because, '') || ' ' || coalesce((SELECT group_concat(
            verdict || ' ' || cause || ' ' || note, ' ') FROM verdict WHERE run_id = run.id), '')
            || ' ' || coalesce((SELECT group_concat(title, ' ') FROM run_tile
                WHERE run_id = run.id), '')
        ), lower(:text)))
    ORDER BY id DESC LIMIT :rows
"""  # noqa: S608 (made of constants)

_RUN: Final = """
    SELECT run.*, (SELECT lot FROM assignment WHERE assignment.id = assignment_id) AS lot
    FROM run WHERE id = ?
"""
_VERDICTS: Final = (
    "SELECT id, verdict, cause, note, photo, at_utc, who, pocket FROM verdict"
    " WHERE run_id = ? ORDER BY id"
)
# Rows are written in their order: how long a tile took is from the last row before it to its own.
_TILES: Final = f"""
    WITH tile AS (
        SELECT run_tile.*, ended AS run_ended, {LOT_OF_TILE} AS lot,
            coalesce(etched_rows, (SELECT max(row) + 1 FROM run_row WHERE run_id = run.id), 0)
                AS run_rows
        FROM run_tile JOIN run ON run.id = run_id WHERE run_id = ?
    )
    SELECT pocket, title, first_row, rows, min(max(run_rows - first_row, 0), rows) AS etched_rows,
        item_id,
        CASE
            WHEN run_rows >= first_row + rows THEN 'complete'
            WHEN run_ended IS NOT NULL AND run_rows < first_row THEN 'not begun'
            ELSE run_ended
        END AS ended,
        (SELECT max(at_s) FROM run_row WHERE run_id = tile.run_id
            AND row BETWEEN first_row AND first_row + tile.rows - 1)
            - coalesce((SELECT max(at_s) FROM run_row WHERE run_id = tile.run_id
                AND row < first_row), 0) AS elapsed_s,
        (SELECT sum(samples * feed_mean_mm_per_min)
                / sum(iif(feed_mean_mm_per_min IS NULL, 0, samples))
            FROM run_row WHERE run_id = tile.run_id
            AND row BETWEEN first_row AND first_row + tile.rows - 1) AS feed_run_mm_per_min,
        (SELECT sum(samples * power_mean_ratio) / sum(iif(power_mean_ratio IS NULL, 0, samples))
            FROM run_row WHERE run_id = tile.run_id
            AND row BETWEEN first_row AND first_row + tile.rows - 1) AS power_run_ratio,
        (SELECT verdict FROM verdict WHERE run_id = tile.run_id AND verdict.pocket = tile.pocket
            ORDER BY id DESC LIMIT 1) AS verdict,
        lot
    FROM tile ORDER BY first_row
"""  # noqa: S608 (made of constants)


def runs(book: sqlite3.Connection, call: Runs) -> RunsPage:
    """Return runs, newest first, older than run `before`; `next_before` asks for more.

    They have what is sought: `head`, `surface`, days `since` and `until` (as 2026-11-25), the last
    `verdict`, of the run or of one of its tiles, and `text` in titles, names, end or verdict. With
    them come the newest notes about the logbook.
    """
    most_rows = rows_asked(call.limit)
    before = LAST_ID if call.before is None else call.before
    found = select(
        book, RunSummary, _RUNS, structs.asdict(call) | {"before": before, "rows": most_rows + 1}
    )
    page = fitting(found[:most_rows])
    notes = select(
        book, LogbookNote, "SELECT at_utc, text FROM logbook_note ORDER BY id DESC LIMIT 5"
    )
    more = page[-1].id if len(page) < len(found) else None
    return RunsPage(runs=page, next_before=more, notes=tuple(notes))


def run(book: sqlite3.Connection, call: Run) -> RunRecord:
    """Return everything about one run but its rows and events; raise CommandRefused."""
    found = book.execute(_RUN, (call.id,))
    names = [column[0] for column in found.description]
    row = found.fetchone()
    if row is None:
        raise CommandRefused(f"There is no run {call.id} in the logbook.")
    entries = as_entries(RunRecord, dict(zip(names, row, strict=True)))
    del entries["assignment_id"]
    sheet = {name: value for name, value in entries["sheet"].items() if name != "index"}
    (later,) = book.execute(
        "SELECT max(id) FROM run WHERE continues_run_id = ?", (call.id,)
    ).fetchone()
    return RunRecord(
        **entries | {"sheet": sheet},
        continued_by_run_id=later,
        comparison=_comparison(
            book,
            call.id,
            feed_mm_per_min=entries["recipe_feed_mm_per_min"],
            power_ratio=entries["recipe_power_ratio"],
        ),
        verdicts=tuple(select(book, Verdict, _VERDICTS, (call.id,))),
        tiles=fitting(select(book, RunTile, _TILES, (call.id,))),
    )


def run_rows(book: sqlite3.Connection, call: RunRows) -> RunRowsPage:
    """Return rows from `from_row` on; `next_row` asks for more."""
    most_rows = rows_asked(call.limit)
    found = select(
        book,
        RunRow,
        f"SELECT {_ROW} FROM run_row WHERE run_id = ? AND row >= ? ORDER BY row LIMIT ?",  # noqa: S608
        (call.id, call.from_row, most_rows + 1),
    )
    page = fitting(found[:most_rows])
    more = found[len(page)].row if len(page) < len(found) else None
    return RunRowsPage(columns=RunRow._fields, rows=page, next_row=more)


def run_events(book: sqlite3.Connection, call: RunEvents) -> RunEventsPage:
    """Return events in their order, from behind event `after`; `next_after` asks for more."""
    most_rows = rows_asked(call.limit)
    found = select(
        book,
        RunEvent,
        "SELECT id, at_s, at_utc, kind, text, details_json FROM run_event"
        " WHERE run_id = ? AND id > ? ORDER BY id LIMIT ?",
        (call.id, call.after, most_rows + 1),
    )
    page = fitting(found[:most_rows])
    return RunEventsPage(events=page, next_after=page[-1].id if len(page) < len(found) else None)


def _comparison(
    book: sqlite3.Connection, run: int, *, feed_mm_per_min: float, power_ratio: float
) -> Comparison:
    """Return what was run beside what was asked for."""
    measured = book.execute(_COMPARISON, (run, SLOW_RATIO * feed_mm_per_min)).fetchone()
    measured_rows, estimated_rows, feed_mean, power_mean, slow_rows_ratio = measured
    dose_ratio = None
    if feed_mean and power_mean is not None:  # power over speed, each relative
        dose_ratio = power_mean / power_ratio * feed_mm_per_min / feed_mean
    slowest = select(book, SlowestRow, _SLOWEST, (run,))
    return Comparison(
        feed_asked_mm_per_min=feed_mm_per_min,
        power_asked_ratio=power_ratio,
        measured_rows=measured_rows,
        estimated_rows=estimated_rows,
        feed_mean_mm_per_min=feed_mean,
        power_mean_ratio=power_mean,
        slow_rows_ratio=slow_rows_ratio,
        dose_ratio=dose_ratio,
        slowest_row=slowest[0] if slowest else None,
    )


_ANSWERS: Final[Mapping[type[AnyCall], Callable[..., object]]] = {
    Runs: runs,
    Run: run,
    RunRows: run_rows,
    RunEvents: run_events,
    Heads: heads,
    Filter: extraction_filter,
    Surfaces: surfaces,
    Lots: lots,
    Jigs: jigs,
    Recipes: recipes,
    Cards: cards,
    Card: card,
    Readings: readings,
    Reading: reading,
    Orders: orders,
    Order: order,
    Shop: shop,
    TimeLine: time_line,
    History: history,
}


def answer(book: sqlite3.Connection, call: Call[_Answer]) -> _Answer:
    """Return what the logbook says to `call`; raise CommandRefused for what is not there.

    What was kept in a form that this release cannot read raises LogbookUnavailable.
    """
    try:
        return cast(_Answer, _ANSWERS[type(call)](book, call))
    except UnreadableSheet as error:
        raise LogbookUnavailable(f"The logbook holds what cannot be read: {error}.") from error
