"""What is written into the logbook, one kind of entry each: values that know their statement."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Protocol

from etchdaemon.logbook.schema.catalogue_steps import SUM_RUN
from etchdaemon.logbook.write.insert_statements import insert
from etchdaemon.ports import RunEnd, RunNote
from etchdaemon.run.position_epoch import Ends, Origin
from etchwire.calls.history import RunRow
from etchwire.sheet import Sheet

DETAILS_LIMIT: Final = 16_000  # characters: an event must fit one answer on the wire
TEXT_LIMIT: Final = 4_000
ROW_DIGITS: Final = {"mm_per_min": 1, "ratio": 4, "at_s": 3}  # by the end of a column's name


class LogbookEntry(Protocol):
    """Something to be written."""

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write within the transaction that is open; return the new row's number, if any."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStarted:
    """A run begins; its number is the row's."""

    sheet: Sheet
    started_at_utc: str
    is_clock_synchronised: bool | None
    notes: Mapping[str, object]
    continues_run: int | None = None  # the run whose rest this is

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write the run with its recipe and head as columns, which later queries compare."""
        columns = self._columns()
        if self.continues_run is not None:
            columns["continues_run_id"] = self.continues_run
        return insert(book, "run", columns)

    def _columns(self) -> dict[str, object]:
        sheet, head, recipe = self.sheet, self.sheet.head, self.sheet.recipe
        return {
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
            "started_at_utc": self.started_at_utc,
            "is_clock_synchronised": self.is_clock_synchronised,
            "notes_json": _json(self.notes),
        }


@dataclass(frozen=True, slots=True)
class EventNoted:
    """Something happened in a run."""

    note: RunNote

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write the event behind those before it: its number is their order."""
        note = self.note
        columns = {
            "run_id": note.run,
            "at_s": round(note.at_s, 3),
            "at_utc": note.at_utc,
            "kind": note.kind,
            "text": note.text[:TEXT_LIMIT],
            "details_json": _json(note.details),
        }
        return insert(book, "run_event", columns)


@dataclass(frozen=True, slots=True)
class RowMeasured:
    """What was run in one row; a second entry for the same row replaces the first."""

    run: int
    row: RunRow

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write the row, rounded to what the controller's reports can tell."""
        columns = {name: _rounded(name, value) for name, value in self.row._asdict().items()}
        return insert(book, "run_row", {"run_id": self.run, **columns}, verb="INSERT OR REPLACE")


@dataclass(frozen=True, slots=True)
class RunEnded:
    """A run is over."""

    end: RunEnd

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write the end, once: a second end does not overwrite the first."""
        end = self.end
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
        return None


@dataclass(frozen=True, slots=True)
class RunSummed:
    """A run's beam time and what it really ran at; written behind the last of its rows."""

    run: int

    def write(self, book: sqlite3.Connection) -> int | None:
        """Work it out from the rows that are there; a run that goes on is left alone."""
        book.execute(SUM_RUN, (self.run,))
        return None


@dataclass(frozen=True, slots=True)
class RunsCutShort:
    """Ends the runs that an earlier life of the daemon left open: nobody etches them any more."""

    at_utc: str

    def write(self, book: sqlite3.Connection) -> int | None:
        """End each as failed, as far as its rows were recorded."""
        open_runs = "SELECT id, (SELECT max(row) FROM run_row WHERE run_id = run.id) FROM run"
        for run, last in book.execute(f"{open_runs} WHERE ended IS NULL").fetchall():
            near = "before its first row" if last is None else f"near row {last + 1}"
            end = RunEnd(
                run=run,
                ended="failed",
                because=f"Power was lost or the control program was ended {near}.",
                elapsed_s=_last_heard_s(book, run),
                at_utc=self.at_utc,
                etched_rows=0 if last is None else last + 1,
            )
            RunEnded(end).write(book)
            RunSummed(run).write(book)
        return None


@dataclass(frozen=True, slots=True)
class NoteMade:
    """Something a reader of the logbook must know about the logbook itself."""

    at_utc: str
    text: str

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write the note."""
        return insert(book, "logbook_note", {"at_utc": self.at_utc, "text": self.text})


@dataclass(frozen=True, slots=True)
class EpochBegun:
    """Another position epoch has begun."""

    at_utc: str
    because: str

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it."""
        columns = {"at_utc": self.at_utc, "because": self.because[:TEXT_LIMIT]}
        return insert(book, "position_epoch", columns)


@dataclass(frozen=True, slots=True)
class OriginSet:
    """The origin was set; entries are written in order, so it belongs to the newest epoch."""

    at_utc: str
    origin: Origin
    ends_mm: Ends | None

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it."""
        (epoch,) = book.execute("SELECT max(id) FROM position_epoch").fetchone()
        (run,) = book.execute("SELECT coalesce(max(id), 0) + 1 FROM run").fetchone()
        x_mm, y_mm = self.origin.place_mm
        (left, bottom), (right, top) = self.ends_mm or ((None, None), (None, None))
        columns = {
            "position_epoch_id": epoch,
            "at_utc": self.at_utc,
            "x_mm": x_mm,
            "y_mm": y_mm,
            "left_mm": left,
            "bottom_mm": bottom,
            "right_mm": right,
            "top_mm": top,
            "offsets_json": _json(self.origin.offsets_mm),
            "first_run_id": run,
        }
        return insert(book, "origin", columns)


@dataclass(frozen=True, slots=True)
class ProofNoted:
    """A safety contact was seen to open and to close again."""

    at_utc: str
    input: str

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write the proof."""
        return insert(book, "input_proof", {"at_utc": self.at_utc, "input": self.input})


@dataclass(frozen=True, slots=True)
class PinsNoted:
    """The inputs are read at these pins from now on."""

    at_utc: str
    inputs_json: str

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write them, and which proof was the last before."""
        (last,) = book.execute("SELECT coalesce(max(id), 0) FROM input_proof").fetchone()
        columns = {"at_utc": self.at_utc, "inputs_json": self.inputs_json, "last_proof_id": last}
        return insert(book, "pin_map", columns)


@dataclass(frozen=True, slots=True)
class RelayTested:
    """The safety relay was tested."""

    at_utc: str
    has_passed: bool

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write how that ended."""
        columns = {"at_utc": self.at_utc, "has_passed": int(self.has_passed)}
        return insert(book, "relay_test", columns)


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
