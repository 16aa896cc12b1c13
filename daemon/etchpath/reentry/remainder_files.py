"""Rests of jobs on disk: which files are read and written for a re-entry."""

from pathlib import Path

from etchpath.foreign_job import write_foreign_sheet
from etchpath.machine import Machine
from etchpath.reentry.file_cut import FileCut, Resumption, find_resumption
from etchpath.reentry.foreign import write_rest_of_file
from etchpath.reentry.remainder import Cut, write_rest
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet, read_sheet


def write_rest_folder(job: Path, rest: Path, *, row: int, x_mm: float) -> Sheet:
    """Write to the folder `rest`, made if need be, what is left of the job in folder `job`."""
    sheet = read_sheet(job)
    rest.mkdir(parents=True, exist_ok=True)
    with (job / GCODE_NAME).open("rb") as whole, (rest / GCODE_NAME).open("w+b") as left:
        left_sheet = write_rest(whole, sheet, Cut(row=row, x_mm=x_mm), left)
    (rest / SHEET_NAME).write_text(left_sheet.to_json(), encoding="utf-8")
    return left_sheet


def resume_file(job: Path, rest: Path | None, cut: FileCut) -> Resumption:
    """Return where the rest of another program's job begins; write it to the folder `rest`.

    `job` is the folder of the whole; without `rest` nothing is written. Raise NoReentry.
    """
    sheet = read_sheet(job)
    machine = Machine.of_head(sheet.head)
    with (job / GCODE_NAME).open("rb") as whole:
        found = find_resumption(whole, machine, cut)
        if rest is None:
            return found
        rest.mkdir(parents=True, exist_ok=True)
        with (rest / GCODE_NAME).open("wb") as left:
            write_rest_of_file(whole, found.line, left, machine)
    write_foreign_sheet(
        rest,
        head=sheet.head,
        surface=sheet.recipe.surface,
        title=sheet.title,
        original=sheet.original,
    )
    return found
