"""The rest of a job after a cut: of our own rows to the micrometre, of other files by moves.

The row taken up again is that of the cut, not the one in which the head came to rest. Another
program's file is taken up at the start of the move that was cut: that move is burnt again.
"""

import math
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO

from etchpath.errors import NoReentry
from etchpath.machine import Machine
from etchpath.motion.line_times import LineTimes
from etchpath.preflight import inspect
from etchpath.reentry.row_cut import cut_row
from etchpath.writer.job_file import PREAMBLE, gcode_sha256_of
from etchpath.writer.job_sheet import reach
from etchpath.writer.raster import UM_PER_MM, short_text
from etchwire.sheet import RowEntry, Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Where the beam went out: a row of the picture, and the place along it, job coordinates."""

    row: int
    x_mm: float


def write_rest(job: BinaryIO, sheet: Sheet, cut: Cut, rest: BinaryIO) -> Sheet:
    """Write to `rest` what is left of `job` from `cut` on, and return its sheet.

    `job` is open for reading at any place, `rest` for reading and writing, empty. Rows keep
    their numbers. Raise NoReentry where nothing is left, or the job is not as its sheet says.
    """
    if not math.isfinite(cut.x_mm):
        raise NoReentry("the place of the cut is not known")
    _require_same_file(job, sheet)
    beginning, row, whole = _beginning(job, sheet, cut)
    copied_from = whole[0].byte if whole else _end_of_rows(job, sheet)
    text = b"".join(beginning)
    rest.write(text)
    job.seek(copied_from)
    shutil.copyfileobj(job, rest)
    first_line = whole[0].line if whole else sheet.end_line
    line_shift = len(beginning) + 1 - first_line
    moved = (
        replace(entry, line=entry.line + line_shift, byte=entry.byte + len(text) - copied_from)
        for entry in whole
    )
    return _sheet_of(rest, sheet, (*row, *moved), end_line=sheet.end_line + line_shift)


def _beginning(
    job: BinaryIO, sheet: Sheet, cut: Cut
) -> tuple[list[bytes], tuple[RowEntry, ...], tuple[RowEntry, ...]]:
    """Return the lines before the first whole row, the entry of the cut row, the whole rows."""
    feed = short_text(sheet.recipe.feed_mm_per_min).encode("ascii")
    lines = [*PREAMBLE, b"F%s\n" % feed]
    ahead = tuple(entry for entry in sheet.index if entry.row >= cut.row)
    whole = tuple(entry for entry in ahead if entry.row > cut.row)
    row: tuple[RowEntry, ...] = ()
    if len(whole) < len(ahead):
        written = list(_lines_of(job, sheet, ahead[0]))
        left = cut_row(written, round(cut.x_mm * UM_PER_MM), feed)
        if left is not None:
            before = sum(map(len, lines))
            row = (replace(ahead[0], line=len(lines) + 1, byte=before),)
            lines += [line + b"\n" for line in left]
    if not row and not whole:
        raise NoReentry("nothing is left to etch: the cut lies behind the last dot")
    return lines, row, whole


def _lines_of(job: BinaryIO, sheet: Sheet, entry: RowEntry) -> Iterator[bytes]:
    """Yield the lines of one row."""
    following = (other.line for other in sheet.index if other.line > entry.line)
    job.seek(entry.byte)
    for _ in range(next(following, sheet.end_line) - entry.line):
        yield job.readline().rstrip(b"\n")


def _end_of_rows(job: BinaryIO, sheet: Sheet) -> int:
    last = sheet.index[-1]
    return last.byte + sum(len(line) + 1 for line in _lines_of(job, sheet, last))


def _require_same_file(job: BinaryIO, sheet: Sheet) -> None:
    job.seek(0)
    if gcode_sha256_of(job) != sheet.gcode_sha256:
        raise NoReentry("the G-code is not the one that the job sheet describes")


def _sheet_of(rest: BinaryIO, sheet: Sheet, index: tuple[RowEntry, ...], *, end_line: int) -> Sheet:
    """Return the sheet of the written rest, timed as any other file is."""
    times = LineTimes([entry.line for entry in index])
    rest.seek(0)
    report = inspect(rest, Machine.of_head(sheet.head), on_times=[times.see_times])
    timed = tuple(
        replace(entry, at_s=at_s) for entry, at_s in zip(index, times.at_s(), strict=True)
    )
    return replace(
        sheet,
        index=timed,
        motion=reach(timed),
        predicted_s=report.duration_s,
        gcode_sha256=report.gcode_sha256,
        gcode_bytes=report.gcode_bytes,
        gcode_lines=report.lines,
        end_line=end_line,
    )
