"""An etch that was cut short, taken up again: which job is left of it, and what is known."""

import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import nextafter
from pathlib import Path
from tempfile import mkdtemp
from typing import Any, Final

from etchdaemon.errors import CommandRefused, JobRefused
from etchdaemon.ports import History, RestWriter
from etchdaemon.service.spool import Spool, SpooledJob
from etchwire.errors import UnreadableSheet
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet, read_sheet

NOT_MOVED: Final = "tile and head have not moved"
ORIGIN_AGAIN: Final = "origin set again"
CONFIRMATIONS: Final = (NOT_MOVED, ORIGIN_AGAIN)
PAGE_EVENTS: Final = 500
BAND: Final = "The laser has cooled meanwhile: a faint band may show where it goes on."
POSITION_GONE: Final = (
    "Where the head is is no longer known since that run. Home the machine or set the origin"
    f" again, and confirm “{ORIGIN_AGAIN}”."
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where to go on; `error_mm` is None where only the row is known, by eye."""

    row: int
    x_mm: float
    error_mm: float | None


class Reentry:
    """Makes the rest of a run's job; for the caller's thread, not the loop's."""

    def __init__(self, *, history: History, spool: Spool, rests: RestWriter) -> None:
        self._history = history
        self._spool = spool
        self._rests = rests

    def job(self, *, run: int, confirm: str, row: int | None) -> tuple[SpooledJob, str]:
        """Return what is left of `run`, and what a person is told; raise CommandRefused.

        `row` is the first that is not dark, told by eye; without it the logged cut counts.
        """
        if confirm not in CONFIRMATIONS:
            told = " or ".join(f"“{words}”" for words in CONFIRMATIONS)
            raise CommandRefused(f"Confirm {told}: nothing else makes a re-entry possible.")
        record = self._history.ask("run", id=run)
        _refuse_unfit(record)
        whole = self._spool.folder_of(record["gcode_sha256"])
        sheet = _sheet_in(whole)
        place = self._place(run, record, sheet, row)
        rest = Path(mkdtemp(prefix=".rest-", dir=whole.parent))
        try:
            self._rests.write(whole, rest, row=place.row, x_mm=place.x_mm)
            job = self._take_in(rest)
        finally:
            shutil.rmtree(rest, ignore_errors=True)
        is_kept = confirm == NOT_MOVED
        job = replace(
            job,
            continues_run=run,
            picture_sha256=self._first_of(record)["gcode_sha256"],
            needs_kept_position=is_kept,
        )
        return job, _told(place, job.sheet, is_kept=is_kept)

    def _first_of(self, record: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return the run that a chain of re-entries began with: the one with the whole picture."""
        while record.get("continues_run_id") is not None:
            record = self._history.ask("run", id=record["continues_run_id"])
        return record

    def _take_in(self, rest: Path) -> SpooledJob:
        gcode = os.open(rest / GCODE_NAME, os.O_RDONLY | os.O_CLOEXEC)
        sheet = os.open(rest / SHEET_NAME, os.O_RDONLY | os.O_CLOEXEC)
        try:
            return self._spool.take_in(gcode_fd=gcode, sheet_fd=sheet)
        finally:
            os.close(gcode)
            os.close(sheet)

    def _place(self, run: int, record: Mapping[str, Any], sheet: Sheet, row: int | None) -> Place:
        cut = None if row is not None else self._cut_of(run)
        if cut is not None:
            return Place(cut["row"], cut["x_mm"], cut["error_mm"])
        if row is None:
            raise CommandRefused(
                f"Where run {run} was cut is not known; it was near row {record['etched_rows']}."
                " Look at the tile, and say which row is the first that is not dark."
            )
        entry = next((entry for entry in sheet.index if entry.row >= row), None)
        if entry is None:
            raise CommandRefused(f"The picture has no row {row} with anything to etch.")
        before = nextafter(entry.from_mm, entry.from_mm - (entry.to_mm - entry.from_mm))
        return Place(entry.row, before, None)

    def _cut_of(self, run: int) -> Mapping[str, Any] | None:
        """Return the details of the run's last cut."""
        after: int | None = 0
        cut: Mapping[str, Any] | None = None
        while after is not None:
            page = self._history.ask("run_events", id=run, after=after, limit=PAGE_EVENTS)
            for event in page["events"]:
                if event["kind"] == "cut":
                    cut = event["details"]
                elif event["kind"] == "resumed":
                    cut = None
            after = page["next_after"]
        return cut


def _refuse_unfit(record: Mapping[str, Any]) -> None:
    run = record["id"]
    if record["ended"] is None:
        raise CommandRefused(f"Run {run} has not ended.")
    if record["ended"] == "complete":
        raise CommandRefused(f"Run {run} is complete: nothing of it is left to etch.")


def _sheet_in(folder: Path) -> Sheet:
    try:
        sheet = read_sheet(folder)
    except UnreadableSheet:
        raise JobRefused("The job of that run is no longer kept here; load it again.") from None
    if sheet.is_foreign:
        raise CommandRefused("A file of another program cannot be taken up by its rows.")
    return sheet


def _told(place: Place, rest: Sheet, *, is_kept: bool) -> str:
    spacing_mm = rest.recipe.line_spacing_mm
    if place.error_mm is None:
        along = f"Row {place.row} is etched anew from its beginning, as you said."
    elif rest.index[0].row > place.row:
        along = f"Row {place.row} was done; row {rest.index[0].row} comes next."
    else:
        along = (
            f"Row {place.row} goes on at x {place.x_mm:.2f} mm, along the row give or take"
            f" {place.error_mm:.2f} mm."
        )
    across = (
        "Across the rows nothing has moved."
        if is_kept
        else f"Both as well as the origin was set: across the rows expect {spacing_mm / 2:.2g} mm"
        " at best, and a line may show."
    )
    return f"{along} {across} {BAND}"
