"""A job folder from another program's file: its tidied copy, and a sheet the daemon can follow.

The sheet's rows are stretches of the file between places where the head sets out in the dark:
there a hold may rest. Speed and power of its recipe are what the file asks for on the whole.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from etchpath.errors import UnfitFile
from etchpath.index import IndexBuilder, IndexEntry
from etchpath.language.states import States
from etchpath.machine import Machine
from etchpath.preflight import Report, inspect
from etchpath.tidying import Tidying
from etchwire.catalogue.heads import Head, Recipe
from etchwire.sheet import FOREIGN, GCODE_NAME, SHEET_NAME, Bounds, Original, RowEntry, Sheet

_COPIED_AT_ONCE_BYTES: Final = 256 * 1024


def write_foreign_job(source: Path, folder: Path, *, head: Head, surface: str) -> Sheet:
    """Write the job of the G-code `source` to `folder`; raise UnfitFile, OSError.

    The job's G-code is the tidied copy, in which every line has the original's number.
    """
    original = _write_tidied(source, folder / GCODE_NAME)
    return write_foreign_sheet(
        folder, head=head, surface=surface, title=source.stem, original=original
    )


def write_foreign_sheet(
    folder: Path, *, head: Head, surface: str, title: str, original: Original | None
) -> Sheet:
    """Write the sheet beside the tidy G-code in `folder`; raise UnfitFile, OSError."""
    builder, last = IndexBuilder(), _Last()
    with (folder / GCODE_NAME).open("rb") as file:
        report = inspect(
            file,
            Machine.of_head(head),
            on_states=[builder.see_states, last.see_states],
            on_times=[builder.see_times],
        )
    _require_fit(report)
    sheet = replace(
        _sheet(report, builder.entries(), last, head=head, surface=surface, title=title),
        original=original,
    )
    (folder / SHEET_NAME).write_text(sheet.to_json(), encoding="utf-8")
    return sheet


@dataclass(slots=True)
class _Last:
    """A watcher that keeps where the file ends, and the highest power it burns with."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    most_s: float = 0.0

    def see_states(self, states: States) -> None:
        self.x_mm, self.y_mm = float(states.x_mm[-1]), float(states.y_mm[-1])
        burning = states.power_s[states.is_beam_on & states.is_move]
        self.most_s = max(self.most_s, float(burning.max(initial=0.0)))


def _write_tidied(source: Path, target: Path) -> Original:
    """Write the tidied copy, whose last line is whole."""
    with source.open("rb") as file, target.open("wb") as copy:
        tidying, last = Tidying(file), b""
        while data := tidying.read(_COPIED_AT_ONCE_BYTES):
            copy.write(data)
            last = data[-1:]
        if last != b"\n":
            copy.write(b"\n")
    return Original(
        name=source.name, sha256=tidying.original_sha256, tidied_lines=tidying.tidied_lines
    )


def _require_fit(report: Report) -> None:
    refusals = [finding for finding in report.findings if finding.severity == "refused"]
    if refusals:
        sentences = (f"line {f.line or '-'}: {f.reason} {f.fix}".strip() for f in refusals)
        raise UnfitFile(" ".join(sentences))
    if report.burnt_mm is None or report.bounds_mm is None:
        raise UnfitFile("in the whole file the beam never comes on")
    if not report.has_reentry:
        raise UnfitFile("the file shifts its own origin, so the head cannot be followed in it")


def _sheet(
    report: Report,
    entries: tuple[IndexEntry, ...],
    last: _Last,
    *,
    head: Head,
    surface: str,
    title: str,
) -> Sheet:
    recipe = Recipe(
        surface=surface,
        feed_mm_per_min=report.beam["asked_mm_per_min"],
        power_ratio=min(last.most_s / head.max_s, 1.0),
        line_spacing_mm=head.spot_y_mm,
    )
    index = _rows(entries, last, end_line=report.lines)
    picture = Bounds(**(report.burnt_mm or {}))
    return Sheet(
        title=title,
        photo=None,
        width_mm=max(picture.right_mm - picture.left_mm, head.spot_x_mm),
        height_mm=max(picture.top_mm - picture.bottom_mm, head.spot_y_mm),
        rows=len(index),
        columns=1,
        head=head,
        recipe=recipe,
        halftone=FOREIGN,
        is_both_directions=False,
        coverage=1.0,
        dose_j_per_mm2=recipe.dose_j_per_mm2(head),
        picture=picture,
        motion=Bounds(**(report.bounds_mm or {})),
        predicted_s=report.duration_s,
        gcode_sha256=report.gcode_sha256,
        gcode_bytes=report.gcode_bytes,
        gcode_lines=report.lines,
        end_line=report.lines,
        index=index,
    )


def _rows(entries: tuple[IndexEntry, ...], last: _Last, *, end_line: int) -> tuple[RowEntry, ...]:
    """Return the stretches, each with the place at which it ends."""
    starts = [entry for entry in entries if entry.is_dark and entry.line < end_line]
    if not starts:
        raise UnfitFile("the file has no move in the dark from which to follow it")
    ends = [(entry.x_mm, entry.y_mm) for entry in starts[1:]] + [(last.x_mm, last.y_mm)]
    return tuple(
        RowEntry(
            row=row,
            line=start.line,
            byte=start.byte,
            y_mm=end_y_mm,
            from_mm=start.x_mm,
            to_mm=end_x_mm,
            at_s=start.at_s,
        )
        for row, (start, (end_x_mm, end_y_mm)) in enumerate(zip(starts, ends, strict=True))
    )
