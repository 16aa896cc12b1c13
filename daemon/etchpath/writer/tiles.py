"""Several tiles in one job: rows of jobs that were written before, each moved to its place.

Only the rapid before a row says where on the bed it lies, and everything after that is relative:
so a row is moved by writing that one line anew, and its dots stay as they are to the byte. Every
rapid is made with the beam off, for every row ends with a run-out in the dark.
"""

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.machine import Machine
from etchpath.motion.planner import Moves, planned
from etchpath.writer.job_file import ENDING, PREAMBLE, gcode_sha256_of
from etchpath.writer.job_sheet import reach
from etchpath.writer.raster import UM_PER_MM, feed_text, mm_text
from etchwire.catalogue.jigs import MOST_POCKETS
from etchwire.plain import FURTHEST_MM
from etchwire.sheet import Bounds, RowEntry, Sheet, TilePart

SEVERAL: Final = "several"  # in place of a halftone, where tiles differ in theirs
_ROW: Final = re.compile(
    rb"G90G0X(-?[\d.]+)Y(-?[\d.]+)\n(G91G1X(-?[\d.]+)S0(?:F[\d.]+)?\n"
    rb"(?:X-?[\d.]+S\d+(?:F[\d.]+)?\n)*X(-?[\d.]+)S0(?:F[\d.]+)?\n)"
)
_ROUNDED_MM: Final = 0.002  # places are whole micrometres
_Place = tuple[int, int]  # x and y in whole micrometres


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A picture that was written before, and the pocket it goes to.

    `part` says which rows of `sheet` it is, and where its picture lies there. `corner_mm` is where
    the picture's lower left corner comes to lie; None leaves it where it is.
    """

    gcode: Path
    sheet: Sheet
    part: TilePart
    corner_mm: tuple[float, float] | None = None


def tiles_of(gcode: Path, sheet: Sheet) -> tuple[Tile, ...]:
    """Return the tiles of a job: its parts, or the one picture that it is, as pocket 1."""
    parts = sheet.parts or (
        TilePart(
            pocket=1,
            title=sheet.title,
            first_row=0,
            rows=sheet.rows,
            columns=sheet.columns,
            coverage=sheet.coverage,
            picture=sheet.picture,
        ),
    )
    return tuple(Tile(gcode=gcode, sheet=sheet, part=part) for part in parts)


def write_tiles(tiles: Sequence[Tile], file: BinaryIO, *, title: str) -> Sheet:
    """Write one job of `tiles`, in their order, and return its sheet.

    Raise JobDoesNotFit or NothingToEtch, with a sentence, for tiles that no one job can hold, and
    for a job that is not as its sheet says.
    """
    _require_one_job(tiles)
    job = _TilesFile(file, tiles[0].sheet)
    parts = tuple(job.write_tile(tile) for tile in tiles)
    sheet = job.end(parts, tiles, title)
    _require_travel(sheet)
    return sheet


def _require_one_job(tiles: Sequence[Tile]) -> None:
    if not tiles:
        raise NothingToEtch("no pocket holds anything to etch")
    if len(tiles) > MOST_POCKETS:
        raise JobDoesNotFit(f"one run takes {MOST_POCKETS} tiles at most")
    first = tiles[0].sheet
    for tile in tiles:
        sheet, where = tile.sheet, f"pocket {tile.part.pocket}"
        if sheet.card is not None or sheet.is_foreign:
            what = "a test card" if sheet.card is not None else "another program's file"
            raise JobDoesNotFit(f"{where} holds {what}, which is etched alone")
        if (sheet.head, sheet.recipe) != (first.head, first.recipe):
            raise JobDoesNotFit(
                f"{where} was prepared for another laser or by another recipe than pocket "
                f"{tiles[0].part.pocket}: one run has one laser, one tile and paint, one speed, "
                "power and spacing"
            )


def _require_travel(sheet: Sheet) -> None:
    head, way = sheet.head, sheet.motion
    for side, needed_mm, travel_mm in (
        ("wide", way.right_mm - way.left_mm, head.travel_x_mm),
        ("high", way.top_mm - way.bottom_mm, head.travel_y_mm),
    ):
        if needed_mm > travel_mm:
            raise JobDoesNotFit(
                f"the tiles need {needed_mm:.1f} mm {side} with their run-ups, but {head.name} "
                f"moves only {travel_mm:g} mm: leave out the pockets at the edge, or put the jig "
                "nearer to the origin"
            )


class _TilesFile:
    """A job of several tiles while it is being written, and what its sheet needs to know."""

    def __init__(self, file: BinaryIO, like: Sheet) -> None:
        self._file = file
        self._machine = Machine.of_head(like.head)
        self._hash = hashlib.sha256()
        self._lines = self._bytes = self._rows = 0
        self._index: list[RowEntry] = []
        self._at_um: _Place = (0, 0)
        self._at_s = 0.0
        # A row may be taken from the middle of a job, where no line states the speed.
        feed = feed_text(like.recipe.feed_mm_per_min) + b"\n"
        self._write([*PREAMBLE, feed])

    def write_tile(self, tile: Tile) -> TilePart:
        """Write the rows of a tile, and return what it is in this job."""
        part, shift = tile.part, _shift_um(tile)
        rows = _rows_of(tile.sheet, part)
        if not rows:
            raise NothingToEtch(f"the picture in pocket {part.pocket} has no dot left to etch")
        first_s, end_s = _own_times(tile.sheet, rows, self._machine)
        begin = rows[0]
        start_um = _moved(begin.from_mm, begin.y_mm, shift)
        begins_s = self._at_s + self._rapid_s(self._at_um, start_um)
        if not self._index:
            begins_s += self._machine.after_stop_s  # the preamble's M word
        for entry, text in zip(rows, _texts(tile, rows), strict=True):
            x_um, y_um = _moved(entry.from_mm, entry.y_mm, shift)
            at_s = self._at_s if entry is begin else begins_s + entry.at_s - first_s
            self._index.append(
                replace(
                    entry,
                    row=self._rows + entry.row - part.first_row,
                    line=self._lines + 1,
                    byte=self._bytes,
                    y_mm=y_um / UM_PER_MM,
                    from_mm=x_um / UM_PER_MM,
                    to_mm=_moved(entry.to_mm, entry.y_mm, shift)[0] / UM_PER_MM,
                    at_s=at_s,
                )
            )
            self._write([b"G90G0X%sY%s\n" % (mm_text(x_um), mm_text(y_um)), text])
        self._at_um = _moved(rows[-1].to_mm, rows[-1].y_mm, shift)
        self._at_s = begins_s + end_s - first_s
        written = replace(part, first_row=self._rows, picture=_shifted(part.picture, shift))
        self._rows += part.rows
        return written

    def end(self, parts: tuple[TilePart, ...], tiles: Sequence[Tile], title: str) -> Sheet:
        """Write what ends a job, and return its sheet."""
        end_line = self._lines + 1
        self._write(ENDING)
        parking_s = self._rapid_s(self._at_um, (0, 0))
        like, columns = tiles[0].sheet, max(part.columns for part in parts)
        index, spacing_mm = tuple(self._index), like.recipe.line_spacing_mm
        burnt_dots = sum(part.coverage * part.rows * part.columns for part in parts)
        halftones = {tile.sheet.halftone for tile in tiles}
        return replace(
            like,
            title=title,
            photo=None,
            width_mm=columns * spacing_mm,
            height_mm=self._rows * spacing_mm,
            rows=self._rows,
            columns=columns,
            halftone=like.halftone if len(halftones) == 1 else SEVERAL,
            is_both_directions=any(tile.sheet.is_both_directions for tile in tiles),
            coverage=burnt_dots / (self._rows * columns),
            picture=_around([part.picture for part in parts]),
            motion=reach(index),
            predicted_s=self._at_s + self._machine.after_stop_s + parking_s,
            gcode_sha256=self._hash.hexdigest(),
            gcode_bytes=self._bytes,
            gcode_lines=self._lines,
            end_line=end_line,
            index=index,
            original=None,
            open_shadows=0.0,
            parts=parts,
        )

    def _rapid_s(self, from_um: _Place, to_um: _Place) -> float:
        return rapid_s(self._machine, from_um, to_um)

    def _write(self, texts: Sequence[bytes]) -> None:
        text = b"".join(texts)
        self._file.write(text)
        self._hash.update(text)
        self._lines += text.count(b"\n")
        self._bytes += len(text)


def rapid_s(machine: Machine, from_um: _Place, to_um: _Place) -> float:
    """Return how long a rapid takes from rest to rest, in seconds."""
    dx_um, dy_um = to_um[0] - from_um[0], to_um[1] - from_um[1]
    if not (dx_um or dy_um):
        return 0.0
    dx_mm, dy_mm = np.array([dx_um / UM_PER_MM]), np.array([dy_um / UM_PER_MM])
    way = Moves(dx_mm, dy_mm, np.array([np.inf]), np.array([True]))
    return float(planned(way, machine).seconds.sum())


def _rows_of(sheet: Sheet, part: TilePart) -> tuple[RowEntry, ...]:
    return tuple(entry for entry in sheet.index if part.first_row <= entry.row < part.end_row)


def _own_times(sheet: Sheet, rows: Sequence[RowEntry], machine: Machine) -> tuple[float, float]:
    """Return when the head stands before the first of `rows`, and when it has run the last."""
    place = sheet.index.index(rows[0])
    before = sheet.index[place - 1] if place else None
    came_from = (0, 0) if before is None else _moved(before.to_mm, before.y_mm, (0, 0))
    begin = _moved(rows[0].from_mm, rows[0].y_mm, (0, 0))
    first_s = rows[0].at_s + rapid_s(machine, came_from, begin)
    if before is None:
        first_s += machine.after_stop_s
    following = place + len(rows)
    if following < len(sheet.index):
        return first_s, sheet.index[following].at_s
    last = _moved(rows[-1].to_mm, rows[-1].y_mm, (0, 0))
    return first_s, sheet.predicted_s - machine.after_stop_s - rapid_s(machine, last, (0, 0))


def _texts(tile: Tile, rows: Sequence[RowEntry]) -> Iterator[bytes]:
    """Yield what follows the rapid of each row; raise JobDoesNotFit where it is no row of ours."""
    sheet = tile.sheet
    ending = b"".join(ENDING)
    starts = [entry.byte for entry in sheet.index] + [sheet.gcode_bytes - len(ending)]
    place = sheet.index.index(rows[0])
    with tile.gcode.open("rb") as file:
        _require_same_file(file, tile)
        file.seek(starts[place])
        for entry, end in zip(rows, starts[place + 1 :], strict=False):
            row = _ROW.fullmatch(file.read(end - entry.byte))
            if row is None or (float(row[1]), float(row[2])) != (entry.from_mm, entry.y_mm):
                raise JobDoesNotFit(
                    f"the job of pocket {tile.part.pocket} holds lines that are none of our rows"
                )
            _require_inside(tile, entry, float(row[4]), float(row[5]))
            yield row[3]


def _require_inside(tile: Tile, entry: RowEntry, run_up_mm: float, run_out_mm: float) -> None:
    """Raise JobDoesNotFit for a row that burns beyond its own picture, on a neighbour's coat.

    Between run-up and run-out lies what burns; a row starts earlier by the head's register.
    """
    sheet, picture = tile.sheet, tile.part.picture
    lead_mm = abs(sheet.head.register.lead_mm(sheet.recipe.feed_mm_per_min)) + _ROUNDED_MM
    ends_mm = (entry.from_mm + run_up_mm, entry.to_mm - run_out_mm)
    if not (
        picture.left_mm - lead_mm <= min(ends_mm)
        and max(ends_mm) <= picture.right_mm + lead_mm
        and picture.bottom_mm - _ROUNDED_MM <= entry.y_mm <= picture.top_mm + _ROUNDED_MM
    ):
        raise JobDoesNotFit(
            f"row {entry.row + 1} of the job of pocket {tile.part.pocket} burns beyond its picture"
        )


def _require_same_file(file: BinaryIO, tile: Tile) -> None:
    if gcode_sha256_of(file) != tile.sheet.gcode_sha256:
        raise JobDoesNotFit(
            f"the job of pocket {tile.part.pocket} is not the one that its sheet describes: it was "
            "changed since it was prepared"
        )


def _shift_um(tile: Tile) -> _Place:
    if tile.corner_mm is None:
        return 0, 0
    if not all(abs(mm) <= FURTHEST_MM for mm in tile.corner_mm):
        raise JobDoesNotFit(f"pocket {tile.part.pocket} cannot lie at {tile.corner_mm!r} mm")
    picture = tile.part.picture
    (x_mm, y_mm), from_mm = tile.corner_mm, (picture.left_mm, picture.bottom_mm)
    return (
        round(x_mm * UM_PER_MM) - round(from_mm[0] * UM_PER_MM),
        round(y_mm * UM_PER_MM) - round(from_mm[1] * UM_PER_MM),
    )


def _moved(x_mm: float, y_mm: float, shift_um: _Place) -> _Place:
    return round(x_mm * UM_PER_MM) + shift_um[0], round(y_mm * UM_PER_MM) + shift_um[1]


def _shifted(picture: Bounds, shift_um: _Place) -> Bounds:
    x_mm, y_mm = (um / UM_PER_MM for um in shift_um)
    return Bounds(
        left_mm=picture.left_mm + x_mm,
        bottom_mm=picture.bottom_mm + y_mm,
        right_mm=picture.right_mm + x_mm,
        top_mm=picture.top_mm + y_mm,
    )


def _around(pictures: Sequence[Bounds]) -> Bounds:
    return Bounds(
        left_mm=min(one.left_mm for one in pictures),
        bottom_mm=min(one.bottom_mm for one in pictures),
        right_mm=max(one.right_mm for one in pictures),
        top_mm=max(one.top_mm for one in pictures),
    )
