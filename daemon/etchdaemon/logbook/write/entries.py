"""What is written into the logbook: functions that write one record each.

An entry is such a function with its values. It writes within the transaction that is open, and
returns the new row's number, if any.
"""

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final, TypeAlias

from etchdaemon.logbook.schema.catalogue_steps import SUM_RUN
from etchdaemon.logbook.write.insert_statements import insert
from etchdaemon.ports import RunEnd, RunNote
from etchdaemon.run.position_epoch import Ends, Origin
from etchwire.calls.history import RunRow
from etchwire.sheet import Sheet, TilePart

DETAILS_LIMIT: Final = 16_000  # characters: an event must fit one answer on the wire
TEXT_LIMIT: Final = 4_000
ROW_DIGITS: Final = {"mm_per_min": 1, "ratio": 4, "at_s": 3}  # by the end of a column's name

LogbookEntry: TypeAlias = Callable[[sqlite3.Connection], int | None]


def write_start(
    book: sqlite3.Connection,
    sheet: Sheet,
    *,
    started_at_utc: str,
    is_clock_synchronised: bool | None,
    notes: Mapping[str, object],
    continues_run: int | None = None,
) -> int | None:
    """Write a run's start; its number is the row's, `continues_run` the run whose rest this is.

    Recipe and head are columns, which later queries compare.
    """
    head, recipe = sheet.head, sheet.recipe
    columns: dict[str, object] = {
        "title": sheet.title,
        "gcode_sha256": sheet.gcode_sha256,
        "sheet_json": replace(sheet, index=()).to_json(),
        "rows": sheet.rows,
        "columns": sheet.columns,
        "width_mm": sheet.width_mm,
        "height_mm": sheet.height_mm,
        "head": head.name,
        "head_rated_optical_w": head.rated_optical_w,
        "head_max_s": head.max_s,
        "head_max_feed_mm_per_min": head.max_feed_mm_per_min,
        "head_acceleration_mm_per_s2": head.acceleration_mm_per_s2,
        "head_spot_x_mm": head.spot_x_mm,
        "head_spot_y_mm": head.spot_y_mm,
        "surface": recipe.surface,
        "recipe_feed_mm_per_min": recipe.feed_mm_per_min,
        "recipe_power_ratio": recipe.power_ratio,
        "recipe_line_spacing_mm": recipe.line_spacing_mm,
        "recipe_is_air_assist": recipe.air_assist,
        "dose_j_per_mm2": sheet.dose_j_per_mm2,
        "predicted_s": sheet.predicted_s,
        "started_at_utc": started_at_utc,
        "is_clock_synchronised": is_clock_synchronised,
        "notes_json": _json(notes),
    }
    if continues_run is not None:
        columns["continues_run_id"] = continues_run
    run = insert(book, "run", columns)
    begins = sheet.index[0].row if sheet.index else 0  # of a rest, whose tiles above are done
    for part in sheet.parts:
        if part.end_row > begins:
            _write_tile(book, run, part)
    return run


def _write_tile(book: sqlite3.Connection, run: int | None, part: TilePart) -> None:
    """Write a tile of a run; an item of an order that this logbook does not know is left out."""
    book.execute(
        "INSERT INTO run_tile (run_id, pocket, title, first_row, rows, item_id)"
        " VALUES (?, ?, ?, ?, ?, (SELECT id FROM order_item WHERE id = ?))",
        (run, part.pocket, part.title, part.first_row, part.rows, part.item),
    )


def write_event(book: sqlite3.Connection, note: RunNote) -> int | None:
    """Write what happened in a run, behind what was before: the number is the order."""
    columns = {
        "run_id": note.run,
        "at_s": round(note.at_s, 3),
        "at_utc": note.at_utc,
        "kind": note.kind,
        "text": note.text[:TEXT_LIMIT],
        "details_json": _json(note.details),
    }
    return insert(book, "run_event", columns)


def write_row(book: sqlite3.Connection, run: int, row: RunRow) -> int | None:
    """Write what was run in one row, rounded to what the controller's reports can tell.

    A second entry for the same row replaces the first.
    """
    columns = {name: _rounded(name, value) for name, value in row._asdict().items()}
    return insert(book, "run_row", {"run_id": run, **columns}, verb="INSERT OR REPLACE")


def write_end(book: sqlite3.Connection, end: RunEnd) -> None:
    """Write a run's end, once: a second end does not overwrite the first."""
    book.execute(
        "UPDATE run SET ended = ?, because = ?, elapsed_s = ?, ended_at_utc = ?,"
        " etched_rows = ? WHERE id = ? AND ended IS NULL",
        (
            end.ended,
            end.because[:TEXT_LIMIT],
            round(end.elapsed_s, 3),
            end.at_utc,
            end.etched_rows,
            end.run,
        ),
    )


def write_sums(book: sqlite3.Connection, run: int) -> None:
    """Write a run's beam time and what it really ran at, behind the last of its rows.

    It is worked out from the rows that are there; a run that goes on is left alone.
    """
    book.execute(SUM_RUN, (run,))


def end_open_runs(book: sqlite3.Connection, at_utc: str) -> None:
    """End the runs that an earlier life of the daemon left open: nobody etches them any more.

    Each ends as failed, as far as its rows were recorded.
    """
    open_runs = "SELECT id, (SELECT max(row) FROM run_row WHERE run_id = run.id) FROM run"
    for run, last in book.execute(f"{open_runs} WHERE ended IS NULL").fetchall():
        near = "before its first row" if last is None else f"near row {last + 1}"
        end = RunEnd(
            run=run,
            ended="failed",
            because=f"Power was lost or the control program was ended {near}.",
            elapsed_s=_last_heard_s(book, run),
            at_utc=at_utc,
            etched_rows=0 if last is None else last + 1,
        )
        write_end(book, end)
        write_sums(book, run)


def write_note(book: sqlite3.Connection, at_utc: str, text: str) -> int | None:
    """Write what a reader of the logbook must know about the logbook itself."""
    return insert(book, "logbook_note", {"at_utc": at_utc, "text": text})


def write_epoch(book: sqlite3.Connection, at_utc: str, because: str) -> int | None:
    """Write that another position epoch has begun."""
    return insert(book, "position_epoch", {"at_utc": at_utc, "because": because[:TEXT_LIMIT]})


def write_loaded(book: sqlite3.Connection, gcode_sha256: str | None) -> None:
    """Write which job lies on the bench instead of the one before; None: none does."""
    book.execute("DELETE FROM loaded_job")
    if gcode_sha256 is not None:
        insert(book, "loaded_job", {"gcode_sha256": gcode_sha256})


def write_origin(
    book: sqlite3.Connection, at_utc: str, origin: Origin, ends_mm: Ends | None
) -> int | None:
    """Write the origin that was set; entries keep their order, so it is the newest epoch's."""
    (epoch,) = book.execute("SELECT max(id) FROM position_epoch").fetchone()
    (run,) = book.execute("SELECT coalesce(max(id), 0) + 1 FROM run").fetchone()
    x_mm, y_mm = origin.place_mm
    (left, bottom), (right, top) = ends_mm or ((None, None), (None, None))
    columns = {
        "position_epoch_id": epoch,
        "at_utc": at_utc,
        "x_mm": x_mm,
        "y_mm": y_mm,
        "left_mm": left,
        "bottom_mm": bottom,
        "right_mm": right,
        "top_mm": top,
        "offsets_json": _json(origin.offsets_mm),
        "first_run_id": run,
    }
    return insert(book, "origin", columns)


def write_proof(book: sqlite3.Connection, at_utc: str, name: str) -> int | None:
    """Write that the safety contact `name` was seen to open and to close again."""
    return insert(book, "input_proof", {"at_utc": at_utc, "input": name})


def write_pins(book: sqlite3.Connection, at_utc: str, inputs_json: str) -> int | None:
    """Write at which pins the inputs are read from now on, and which proof was the last before."""
    (last,) = book.execute("SELECT coalesce(max(id), 0) FROM input_proof").fetchone()
    columns = {"at_utc": at_utc, "inputs_json": inputs_json, "last_proof_id": last}
    return insert(book, "pin_map", columns)


def write_relay_test(book: sqlite3.Connection, at_utc: str, *, has_passed: bool) -> int | None:
    """Write how a test of the safety relay ended."""
    return insert(book, "relay_test", {"at_utc": at_utc, "has_passed": int(has_passed)})


def _last_heard_s(book: sqlite3.Connection, run: int) -> float:
    (at_s,) = book.execute(
        "SELECT max(at_s) FROM (SELECT at_s FROM run_row WHERE run_id = ?1"
        " UNION ALL SELECT at_s FROM run_event WHERE run_id = ?1)",
        (run,),
    ).fetchone()
    return float(at_s or 0.0)


def _rounded(name: str, value: float | None) -> float | None:
    digits = next((digits for unit, digits in ROW_DIGITS.items() if name.endswith(unit)), None)
    return value if value is None or digits is None else round(value, digits)


def _json(details: Mapping[str, object]) -> str:
    """Return `details` as JSON whatever they hold: an event is worth more than its details."""
    try:
        text = json.dumps(details, allow_nan=False)
    except (TypeError, ValueError, RecursionError):
        text = json.dumps({"as_text": repr(details)[:DETAILS_LIMIT]})
    if len(text) > DETAILS_LIMIT:
        text = json.dumps({"as_text": text[: DETAILS_LIMIT // 2]})
    return text
