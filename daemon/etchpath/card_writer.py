"""Cards to jobs: rows with speeds and powers of their own, and the sheet that goes with them.

Every row states its speed where its run-up begins, so any row may be the first after a pause.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import BinaryIO

import numpy as np

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.job_file import ENDING, PREAMBLE
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion import Floats, Moves, Planner
from etchpath.raster import UM_PER_MM, mm_text
from etchpath.span_row import RowMoves, SpanRow, row_moves
from etchwire.craft import Head, Recipe
from etchwire.sheet import Bounds, RowEntry, Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class CardOrder:
    """What is asked for beside the rows: the card as a picture, and where it lies.

    `recipe` goes to the sheet as it is; the rows have their own. `coverage` is the share of the
    card that burns. Without a place the card lies as near to the origin as the run-ups allow.
    """

    title: str
    head: Head
    recipe: Recipe
    halftone: str
    rows: int
    columns: int
    coverage: float
    is_both_directions: bool
    is_register_corrected: bool = True
    at_x_mm: float | None = None
    at_y_mm: float | None = None

    @property
    def spacing_um(self) -> float:
        """The height of a row."""
        return self.recipe.line_spacing_mm * UM_PER_MM


def write_card(rows: Sequence[SpanRow], file: BinaryIO, order: CardOrder) -> Sheet:
    """Write the G-code of `rows`, from the top down, and return the job's sheet.

    Raise JobDoesNotFit or NothingToEtch, with a sentence, before anything is written.
    """
    if not rows:
        raise NothingToEtch("the card has no row to etch")
    fastest = max(row.feed_mm_per_min for row in rows)
    if fastest > order.head.max_feed_mm_per_min:
        raise JobDoesNotFit(
            f"{fastest:g} mm/min is faster than {order.head.name} can move: "
            f"{order.head.max_feed_mm_per_min:g} mm/min is its limit"
        )
    moves = [
        row_moves(row, order.head, is_register_corrected=order.is_register_corrected)
        for row in rows
    ]
    left_um, bottom_um = _place_um(order, moves)
    job = _CardFile(file, left_um)
    for row, its_moves in zip(rows, moves, strict=True):
        from_bottom = (order.rows - 1 - row.row + 0.5) * order.spacing_um
        job.write_row(row.row, bottom_um + round(from_bottom), its_moves)
    job.end()
    index, predicted_s = job.timed_index(Machine.of_head(order.head))
    return _sheet(order, job, index=index, predicted_s=predicted_s, at_um=(left_um, bottom_um))


class _CardFile:
    """A file being written, with the moves that time it."""

    def __init__(self, file: BinaryIO, left_um: int) -> None:
        self._file = file
        self._left_um = left_um
        self._hash = hashlib.sha256()
        self._index: list[RowEntry] = []  # their times are not known yet
        self._first_moves: list[int] = []
        self._moves: list[tuple[Floats, Floats, Floats]] = []
        self._move_count = 0
        self._at_um = (0, 0)
        self.lines = 0
        self.size_bytes = 0
        self._write(PREAMBLE)

    @property
    def sha256(self) -> str:
        return self._hash.hexdigest()

    def write_row(self, row: int, y_um: int, moves: RowMoves) -> None:
        start_um, end_um = self._left_um + moves.start_um, self._left_um + moves.end_um
        self._first_moves.append(self._move_count)
        self._index.append(
            RowEntry(
                row=row,
                line=self.lines + 1,
                byte=self.size_bytes,
                y_mm=y_um / UM_PER_MM,
                from_mm=start_um / UM_PER_MM,
                to_mm=end_um / UM_PER_MM,
                at_s=0.0,
            )
        )
        self._write([b"G90G0X%sY%s\n" % (mm_text(start_um), mm_text(y_um)), *_lines_of(moves)])
        self._move(start_um - self._at_um[0], y_um - self._at_um[1], moves)
        self._at_um = (end_um, y_um)

    def end(self) -> None:
        self.end_line = self.lines + 1
        self._write(ENDING)

    def timed_index(self, machine: Machine) -> tuple[tuple[RowEntry, ...], float]:
        """Return where and when each row starts, and when everything is done."""
        planner = Planner(machine)
        dx, dy, feed = (np.concatenate(parts) for parts in zip(*self._moves, strict=True))
        etching = planner.add(Moves(dx, dy, feed, np.zeros(len(dx), dtype=np.bool_)))
        seconds = [np.zeros(1), etching.seconds, planner.finish().seconds]
        parking = -np.array(self._at_um) / UM_PER_MM  # the beam goes off at rest
        if parking.any():
            home = Moves(parking[:1], parking[1:], np.array([np.inf]), np.array([True]))
            seconds += [planner.add(home).seconds, planner.finish().seconds]
        ends = np.cumsum(np.concatenate(seconds))
        times = ends[self._first_moves].tolist()
        entries = (
            replace(entry, at_s=at_s) for entry, at_s in zip(self._index, times, strict=True)
        )
        return tuple(entries), float(ends[-1])

    def _move(self, rapid_x_um: int, rapid_y_um: int, moves: RowMoves) -> None:
        dx = np.concatenate(([rapid_x_um], moves.lengths_um)) / UM_PER_MM
        dy = np.zeros(len(dx))
        dy[0] = rapid_y_um / UM_PER_MM
        feed = np.concatenate(([np.inf], moves.feed_mm_per_min / SECONDS_PER_MINUTE))
        here = 0 if rapid_x_um or rapid_y_um else 1  # a rapid to where the head is already
        self._moves.append((dx[here:], dy[here:], feed[here:]))
        self._move_count += len(dx) - here

    def _write(self, lines: Sequence[bytes]) -> None:
        text = b"".join(lines)
        self._file.write(text)
        self._hash.update(text)
        self.lines += len(lines)
        self.size_bytes += len(text)


def _lines_of(moves: RowMoves) -> list[bytes]:
    feeds = [_feed_text(feed) for feed in moves.feed_mm_per_min]
    lengths = [mm_text(length) for length in moves.lengths_um.tolist()]
    powers = moves.s.tolist()
    lines = [b"G91G1X%sS0%s\n" % (lengths[0], feeds[0])]
    for number, (before, feed) in enumerate(pairwise(feeds), start=1):
        change = b"" if feed == before else feed
        lines.append(b"X%sS%d%s\n" % (lengths[number], powers[number], change))
    return lines


def _feed_text(feed_mm_per_min: float) -> bytes:
    return f"F{feed_mm_per_min:.3f}".rstrip("0").rstrip(".").encode("ascii")


def _place_um(order: CardOrder, moves: Sequence[RowMoves]) -> tuple[int, int]:
    """Return the card's lower left corner; raise JobDoesNotFit where the head cannot go."""
    ends = [place for row in moves for place in (row.start_um, row.end_um)]
    left_um = max(0, -min(ends)) if order.at_x_mm is None else _um(order.at_x_mm)
    bottom_um = 0 if order.at_y_mm is None else _um(order.at_y_mm)
    head = order.head
    wide_mm = (max(0, left_um + max(ends)) - min(0, left_um + min(ends))) / UM_PER_MM
    high_mm = max(0, bottom_um) / UM_PER_MM + order.rows * order.recipe.line_spacing_mm
    for side, needed_mm, travel_mm in (
        ("wide", wide_mm, head.travel_x_mm),
        ("high", high_mm, head.travel_y_mm),
    ):
        if needed_mm > travel_mm:
            raise JobDoesNotFit(
                f"the card needs {needed_mm:.1f} mm {side} with its run-ups, but {head.name} moves "
                f"only {travel_mm:g} mm: give it a smaller place, or one nearer to the origin"
            )
    return left_um, bottom_um


def _um(mm: float) -> int:
    if not math.isfinite(mm):
        raise JobDoesNotFit(f"a card cannot be placed at {mm!r} mm")
    return round(mm * UM_PER_MM)


def _sheet(
    order: CardOrder,
    job: _CardFile,
    *,
    index: tuple[RowEntry, ...],
    predicted_s: float,
    at_um: tuple[int, int],
) -> Sheet:
    left_mm, bottom_mm = (um / UM_PER_MM for um in at_um)
    width_mm = order.columns * order.recipe.line_spacing_mm
    height_mm = order.rows * order.recipe.line_spacing_mm
    x_mm = [0.0, *(mm for entry in index for mm in (entry.from_mm, entry.to_mm))]
    y_mm = [0.0, *(entry.y_mm for entry in index)]
    return Sheet(
        title=order.title,
        photo=None,
        width_mm=width_mm,
        height_mm=height_mm,
        rows=order.rows,
        columns=order.columns,
        head=order.head,
        recipe=order.recipe,
        halftone=order.halftone,
        is_both_directions=order.is_both_directions,
        coverage=order.coverage,
        dose_j_per_mm2=order.recipe.dose_j_per_mm2(order.head),
        picture=Bounds(
            left_mm=left_mm,
            bottom_mm=bottom_mm,
            right_mm=left_mm + width_mm,
            top_mm=bottom_mm + height_mm,
        ),
        motion=Bounds(left_mm=min(x_mm), bottom_mm=min(y_mm), right_mm=max(x_mm), top_mm=max(y_mm)),
        predicted_s=predicted_s,
        gcode_sha256=job.sha256,
        gcode_bytes=job.size_bytes,
        gcode_lines=job.lines,
        end_line=job.end_line,
        index=index,
    )
