"""A job's G-code while it is being written, and what its sheet will need to know of it.

Each row begins with an absolute rapid, so no error is carried from row to row, and states
that its run-up is dark, so every row may be the first after a pause.
"""

import hashlib
from dataclasses import dataclass, replace
from typing import BinaryIO, Final

import numpy as np

from etchpath.arrays import Floats
from etchpath.machine import Machine
from etchpath.motion.planner import Moves, Planner
from etchpath.writer.raster import UM_PER_MM, Places, mm_text
from etchwire.sheet import RowEntry

PREAMBLE: Final = (b"G21G90G94\n", b"G17\n", b"M4S0\n")
ENDING: Final = (b"M5\n", b"G90G0X0Y0\n", b"M2\n")
ROWS_PER_PLAN: Final = 100
_READ_AT_ONCE_BYTES: Final = 256 * 1024


def gcode_sha256_of(file: BinaryIO) -> str:
    """Return the SHA-256 of what is left of `file`, as a sheet names its G-code."""
    digest = hashlib.sha256()
    while data := file.read(_READ_AT_ONCE_BYTES):
        digest.update(data)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenRow:
    """One row as the file has it: a rapid to its run-up, then `text`, a line for each length.

    `lengths_um` are signed, from run-up to run-out; the speeds are theirs, or one for all.
    """

    row: int
    start_um: int
    end_um: int
    y_um: int
    lengths_um: Places
    feed_mm_per_s: Floats | float
    text: bytes


@dataclass
class JobFile:
    """A file being written, and all that its sheet will need to know of it."""

    file: BinaryIO
    machine: Machine
    lines: int = 0
    size_bytes: int = 0
    end_line: int = 0

    def __post_init__(self) -> None:
        self._index: list[RowEntry] = []  # their times are not known yet
        self._hash = hashlib.sha256()
        self._planner = Planner(self.machine)
        self._seconds: list[Floats] = []
        self._moves: list[tuple[Floats, Floats, Floats]] = []
        self._first_moves: list[int] = []  # for each row, how many moves came before it
        self._move_count = 0
        self._at_um = (0, 0)
        self._write(b"".join(PREAMBLE), len(PREAMBLE))

    def write_row(self, row: WrittenRow) -> None:
        """Write one row, behind a rapid to its place."""
        self._note_start(row)
        rapid = b"G90G0X%sY%s\n" % (mm_text(row.start_um), mm_text(row.y_um))
        self._write(rapid + row.text, 1 + len(row.lengths_um))
        self._move(row)
        if len(self._moves) >= ROWS_PER_PLAN:
            self._plan()

    def end(self) -> None:
        """Write what ends a job: beam off, parking, end of program."""
        self.end_line = self.lines + 1
        self._write(b"".join(ENDING), len(ENDING))
        self._plan()
        self._seconds.append(self._planner.finish().seconds)
        x, y = (-float(um) / UM_PER_MM for um in self._at_um)
        if x or y:  # the beam goes off at rest, so parking starts from rest
            parking = Moves(np.array([x]), np.array([y]), np.array([np.inf]), np.array([True]))
            self._seconds += [self._planner.add(parking).seconds, self._planner.finish().seconds]

    @property
    def is_without_rows(self) -> bool:
        """Whether the next row is the first."""
        return not self._index

    @property
    def sha256(self) -> str:
        """The hash of what has been written so far."""
        return self._hash.hexdigest()

    def timed_index(self) -> tuple[tuple[RowEntry, ...], float]:
        """Return where and when each row starts, and when everything is done."""
        ends = np.cumsum(np.concatenate([np.zeros(1), *self._seconds]))
        ends[1:] += self.machine.after_stop_s  # the preamble's M word, and that of the ending
        ends[self._move_count + 1 :] += self.machine.after_stop_s
        times = ends[self._first_moves].tolist()
        entries = (
            replace(entry, at_s=at_s) for entry, at_s in zip(self._index, times, strict=True)
        )
        return tuple(entries), float(ends[-1])

    def _note_start(self, row: WrittenRow) -> None:
        self._first_moves.append(self._move_count)
        self._index.append(
            RowEntry(
                row=row.row,
                line=self.lines + 1,
                byte=self.size_bytes,
                y_mm=row.y_um / UM_PER_MM,
                from_mm=row.start_um / UM_PER_MM,
                to_mm=row.end_um / UM_PER_MM,
                at_s=0.0,
            )
        )

    def _move(self, row: WrittenRow) -> None:
        rapid = (row.start_um - self._at_um[0], row.y_um - self._at_um[1])
        self._at_um = (row.end_um, row.y_um)
        dx = np.concatenate(([rapid[0]], row.lengths_um)) / UM_PER_MM
        dy = np.zeros(len(dx))
        dy[0] = rapid[1] / UM_PER_MM
        feed = np.full(len(dx), np.inf)
        feed[1:] = row.feed_mm_per_s
        here = 0 if rapid != (0, 0) else 1  # a rapid to where the head is already is no move
        self._moves.append((dx[here:], dy[here:], feed[here:]))
        self._move_count += len(dx) - here

    def _plan(self) -> None:
        if not self._moves:
            return
        dx, dy, feed = (np.concatenate(parts) for parts in zip(*self._moves, strict=True))
        self._moves.clear()
        self._seconds.append(
            self._planner.add(Moves(dx, dy, feed, np.zeros(len(dx), dtype=bool))).seconds
        )

    def _write(self, text: bytes, lines: int) -> None:
        self.file.write(text)
        self._hash.update(text)
        self.lines += lines
        self.size_bytes += len(text)
