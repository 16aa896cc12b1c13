"""An etch that was cut short, taken up again: which job is left of it, and what is known."""

import shutil
from dataclasses import asdict, dataclass, replace
from math import nextafter
from pathlib import Path
from typing import Final

from msgspec import structs

from etchdaemon.errors import CommandRefused, EtchdaemonError, JobRefused
from etchdaemon.ports import History, RestWriter
from etchdaemon.run.reentry_rules import (
    BAND,
    NOTHING_MOVED,
    ORIGIN_SHIFT,
    CutPlace,
    LeftOver,
    Past,
    Trace,
    across,
    file_cut,
    known_of_file,
    known_sentences,
    left_edge_mm,
    objection,
    rest_from,
    tile_behind,
    trace_of,
    unknown_of_file,
    unknown_sentences,
)
from etchdaemon.service.job.spool import Spool, SpooledJob
from etchwire.calls.history import Run, RunRecord, Runs
from etchwire.calls.machine import (
    NOT_MOVED,
    ORIGIN_AGAIN,
    CutView,
    Reenter,
    Unfinished,
    UnfinishedRun,
)
from etchwire.errors import UnreadableSheet
from etchwire.record import events_of
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet, read_sheet
from etchwire.transport.json_text import JsonTable

CONFIRMATIONS: Final = (NOT_MOVED, ORIGIN_AGAIN)
POSITION_GONE: Final = (
    "Head position unknown since that run. Home the machine or set the origin"
    f" again, and confirm “{ORIGIN_AGAIN}”."
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where to go on; `error_mm` is None where only the row is known."""

    row: int
    x_mm: float
    error_mm: float | None


class Reentry:
    """Makes the rest of a run's job; for the caller's thread, not the loop's."""

    def __init__(self, *, history: History, spool: Spool, rests: RestWriter) -> None:
        self._history = history
        self._spool = spool
        self._rests = rests

    def newest(self) -> LeftOver | None:
        """Return the run that was started last, if it may be taken up again.

        Nobody is asked about a tile that has been wiped and judged.
        """
        try:
            runs = self._history.ask(Runs(limit=1)).runs
            if not runs or runs[0].verdict is not None:
                return None
            record = self._history.ask(Run(id=runs[0].id))
            past, sheet = self._past(record)
            if objection(past) or sheet is None:
                return None
            trace = self._trace(record, sheet)
            picture = self._first_of(record).gcode_sha256
        except EtchdaemonError:
            return None
        return LeftOver(record.id, sheet.title, picture, sheet.rows, trace.first_row)

    def outlook(
        self, call: Unfinished, *, is_under_way: bool, is_place_kept: bool
    ) -> UnfinishedRun:
        """Return what may be taken up of a run, from `row` on where that is told by eye."""
        record = self._history.ask(Run(id=call.run))
        past, sheet = self._past(record, is_under_way=is_under_way)
        unfinished = UnfinishedRun(
            run=call.run,
            may=objection(past) is None,
            why_not=objection(past),
            ended=record.ended,
            because=record.because,
            title=record.title,
            picture_sha256=self._first_of(record).gcode_sha256,
            is_place_kept=is_place_kept,
            continued_by=past.continued_by,
        )
        if sheet is None:
            return unfinished
        unfinished = structs.replace(
            unfinished,
            rows=sheet.rows,
            columns=sheet.columns,
            width_mm=sheet.width_mm,
            height_mm=sheet.height_mm,
            line_spacing_mm=sheet.recipe.line_spacing_mm,
        )
        if sheet.is_foreign:
            return self._file_outlook(record, sheet, unfinished)
        trace = self._trace(record, sheet)
        row = trace.first_row if call.row is None else call.row
        return structs.replace(
            unfinished,
            cut=None if trace.cut is None else _cut_view(trace.cut, sheet),
            either=tuple(_cut_view(place, sheet) for place in trace.either),
            first_row=trace.first_row,
            is_row_known=trace.is_row_known,
            known=tuple(known_sentences(trace, sheet, is_place_kept=is_place_kept)),
            unknown=tuple(unknown_sentences(trace, sheet, is_place_kept=is_place_kept)),
            across=across(sheet),
            rest=rest_from(row, sheet),
            next_tile=tile_behind(row, sheet),
        )

    def _file_outlook(
        self, record: RunRecord, sheet: Sheet, unfinished: UnfinishedRun
    ) -> UnfinishedRun:
        """Return what may be taken up of another program's file."""
        unfinished = structs.replace(unfinished, is_row_known=True)
        if not unfinished.may:
            return unfinished
        whole = self._spool.folder_of(record.gcode_sha256)
        try:
            found = self._rests.resume_file(whole, None, cut=self._file_cut(record) or {})
        except JobRefused as refusal:
            return structs.replace(unfinished, may=False, why_not=str(refusal))
        is_kept = unfinished.is_place_kept
        row = max((entry.row for entry in sheet.index if entry.line <= found.line), default=0)
        return structs.replace(
            unfinished,
            first_row=row,
            gap_mm=found.gap_mm,
            known=tuple(known_of_file(found, is_place_kept=is_kept)),
            unknown=tuple(unknown_of_file(is_place_kept=is_kept)),
            rest=rest_from(row, sheet),
        )

    def job(self, call: Reenter) -> tuple[SpooledJob, str]:
        """Return what is left of a run, and what a person is told; raise CommandRefused.

        `row` is the first that is not dark, told by eye; without it the record counts. Of another
        program's file `accept_gap` says that what stays unburnt before the rest has been read.
        """
        if call.confirm not in CONFIRMATIONS:
            choices = " or ".join(f"“{words}”" for words in CONFIRMATIONS)
            raise CommandRefused(f"Confirm {choices}: nothing else makes a re-entry possible.")
        record = self._history.ask(Run(id=call.run))
        past, sheet = self._past(record)
        against = objection(past)
        if against is not None or sheet is None:
            raise CommandRefused(against or "")
        is_kept = call.confirm == NOT_MOVED
        whole = self._spool.folder_of(record.gcode_sha256)
        rest = self._spool.make_rest_folder()
        try:
            if sheet.is_foreign:
                found = self._rests.resume_file(whole, rest, cut=self._file_cut(record) or {})
                _require_accepted(found.gap_mm, accept_gap=call.accept_gap)
                sentence = " ".join([*known_of_file(found, is_place_kept=is_kept), BAND])
                job = self._take_in(rest)
            else:
                place = _place(call.run, self._trace(record, sheet), sheet, call.row)
                self._rests.write(whole, rest, row=place.row, x_mm=place.x_mm)
                job = self._take_in(rest)
                sentence = _told(place, job.sheet, is_kept=is_kept)
        finally:
            shutil.rmtree(rest, ignore_errors=True)
        job = replace(
            job,
            continues_run=call.run,
            picture_sha256=self._first_of(record).gcode_sha256,
            needs_kept_position=is_kept,
        )
        return job, sentence

    def _past(self, record: RunRecord, *, is_under_way: bool = False) -> tuple[Past, Sheet | None]:
        """Return what bears on taking up a run, and its sheet where the job is kept."""
        try:
            sheet = read_sheet(self._spool.folder_of(record.gcode_sha256))
        except UnreadableSheet:
            sheet = None
        if sheet is not None and sheet.gcode_sha256 != record.gcode_sha256:
            sheet = None  # of another job: a card that was damaged, or people who tidied it
        found = record.notes.get("preflight", {}).get("kinds", ())
        past = Past(
            run=record.id,
            ended=record.ended,
            continued_by=record.continued_by_run_id,
            is_under_way=is_under_way,
            is_kept=sheet is not None,
            is_all_etched=sheet is not None and (record.etched_rows or 0) >= sheet.rows,
            has_lost_place=(
                sheet is not None and sheet.is_foreign and self._file_cut(record) is None
            ),
            shifts_origin=ORIGIN_SHIFT in found,
        )
        return past, sheet

    def _first_of(self, record: RunRecord) -> RunRecord:
        """Return the run that a chain of re-entries began with: the one with the whole picture."""
        while record.continues_run_id is not None:
            record = self._history.ask(Run(id=record.continues_run_id))
        return record

    def _take_in(self, rest: Path) -> SpooledJob:
        with (rest / GCODE_NAME).open("rb") as gcode, (rest / SHEET_NAME).open("rb") as sheet:
            return self._spool.take_in(gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())

    def _file_cut(self, record: RunRecord) -> JsonTable | None:
        return file_cut(events_of(self._history.ask, record.id))

    def _trace(self, record: RunRecord, sheet: Sheet) -> Trace:
        events = events_of(self._history.ask, record.id)
        return trace_of(events, etched_rows=record.etched_rows or 0, sheet=sheet)


def _require_accepted(gap_mm: float, *, accept_gap: bool) -> None:
    if gap_mm > 0 and not accept_gap:
        raise CommandRefused(
            f"Up to {gap_mm:.1f} mm of the stroke that was cut would stay unburnt. Confirm that"
            " first."
        )


def _cut_view(place: CutPlace, sheet: Sheet) -> CutView:
    return CutView(**asdict(place), from_left_mm=place.x_mm - left_edge_mm(place.row, sheet))


def _place(run: int, trace: Trace, sheet: Sheet, row: int | None) -> Place:
    cut = trace.cut_in(row)
    if cut is not None and not cut.is_whole:
        return Place(cut.row, cut.x_mm, cut.error_mm)
    if row is None and trace.either:
        rows = " or ".join(str(place.row + 1) for place in trace.either)
        raise CommandRefused(
            f"Run {run} was cut in row {rows}. Look at the tile, and say which is the first that"
            " is not dark."
        )
    if row is None and not trace.is_row_known:
        raise CommandRefused(
            f"Where run {run} was cut is not known; it was near row {trace.first_row}."
            " Look at the tile, and say which row is the first that is not dark."
        )
    first = trace.first_row if row is None else row
    entry = next((entry for entry in sheet.index if entry.row >= first), None)
    if entry is None:
        raise CommandRefused(f"The picture has no row {first + 1} with anything to etch.")
    before = nextafter(entry.from_mm, entry.from_mm - (entry.to_mm - entry.from_mm))
    return Place(entry.row, before, None)


def _told(place: Place, rest: Sheet, *, is_kept: bool) -> str:
    if place.error_mm is None:
        along = f"Row {place.row + 1} is etched from its beginning."
    elif rest.index[0].row > place.row:
        along = f"Row {place.row + 1} was done; row {rest.index[0].row + 1} comes next."
    else:
        along = (
            f"Row {place.row + 1} goes on at x {place.x_mm:z.2f} mm, along the row give or take"
            f" {place.error_mm:.2f} mm."
        )
    tile = f" {words}" if (words := rest.place_words(place.row)) else ""
    return f"{along}{tile} {NOTHING_MOVED if is_kept else across(rest)} {BAND}"
