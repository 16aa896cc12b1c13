"""The head's path through our own rows: the spots near a place, and the way of a time.

The path is cut into stretches: each row of the index from run-up to run-out (even numbers), and
the rapid from there to the next row, or to the origin at the end (odd; -1 leads to the first).
Everything here errs to the far side: a speed is the highest that the job allows, a place is every
point of the path that is near it.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final, TypeAlias

from etchwire.sheet import Sheet

NEAR_MM: Final = 0.02  # a report shows whole steps, and an oblique rapid goes beside its line
_MOVE: Final = re.compile(rb"(?:G91G1)?X(-?\d*\.?\d+)S(\d+)(?:F(\d*\.?\d+))?")

Spot: TypeAlias = tuple[int, float]  # number of a stretch, mm along it; spots compare by order
BEGIN: Final[Spot] = (-1, 0.0)  # where the head stood before its first move
_PARKED: Final = (0.0, 0.0)
RowReader: TypeAlias = Callable[[int], Sequence[bytes]]  # the lines of a place in the index


@dataclass(frozen=True, slots=True)
class Stretch:
    """A straight part of the path, job coordinates; the speed is the highest on it."""

    from_x_mm: float
    from_y_mm: float
    to_x_mm: float
    to_y_mm: float
    speed_mm_per_s: float

    @property
    def length_mm(self) -> float:
        """Its length."""
        return math.hypot(self.to_x_mm - self.from_x_mm, self.to_y_mm - self.from_y_mm)

    def near(self, x_mm: float, y_mm: float) -> tuple[float, float] | None:
        """Return the first and last mm along it that are near a place; None where none is."""
        length = self.length_mm
        if not length:
            return None
        ahead_x = (self.to_x_mm - self.from_x_mm) / length
        ahead_y = (self.to_y_mm - self.from_y_mm) / length
        x, y = x_mm - self.from_x_mm, y_mm - self.from_y_mm
        along, beside = x * ahead_x + y * ahead_y, abs(x * ahead_y - y * ahead_x)
        if beside > NEAR_MM or not -NEAR_MM <= along <= length + NEAR_MM:
            return None
        reach = math.sqrt(NEAR_MM**2 - beside**2)
        return min(max(along - reach, 0.0), length), max(min(along + reach, length), 0.0)


@dataclass(frozen=True, slots=True)
class _Row:
    """A row's fastest feed, and the first and last mm along it that are burnt."""

    feed_mm_per_min: float
    burnt_mm: tuple[float, float] | None


def rapid_after(sheet: Sheet, place: int, *, start_mm: tuple[float, float]) -> Stretch:
    """Return the rapid that follows the row at `place` of the index; -1 leads to the first row."""
    index = sheet.index
    begin = start_mm if place < 0 else (index[place].to_mm, index[place].y_mm)
    is_last = place + 1 == len(index)
    end = _PARKED if is_last else (index[place + 1].from_mm, index[place + 1].y_mm)
    return Stretch(*begin, *end, sheet.head.max_feed_mm_per_min / 60)


class RowPath:
    """The path of one job of ours; its rows are read as they are needed.

    `start_mm` is where the head stood before its first move; `fastest_percent` the highest feed
    override that was in force.
    """

    def __init__(
        self,
        sheet: Sheet,
        read_row: RowReader,
        *,
        start_mm: tuple[float, float],
        fastest_percent: int = 100,
    ) -> None:
        self._sheet = sheet
        self._read_row = read_row
        self._start_mm = start_mm
        self._share = fastest_percent / 100
        self._rows: dict[int, _Row] = {}

    @property
    def end(self) -> Spot:
        """Where the job has parked the head."""
        number = 2 * len(self._sheet.index) - 1
        return number, self.stretch(number).length_mm

    def burnt_mm(self, place: int) -> tuple[float, float] | None:
        """Return the first and last burnt mm of the row at `place` of the index; None: no dot."""
        return self._row(place).burnt_mm

    def x_mm(self, spot: Spot) -> float:
        """Return the x of a spot in a row."""
        entry = self._sheet.index[spot[0] // 2]
        return entry.from_mm + math.copysign(spot[1], entry.to_mm - entry.from_mm)

    def stretch(self, number: int) -> Stretch:
        """Return a stretch of the path by its number."""
        index = self._sheet.index
        place, is_rapid = divmod(number, 2)
        if not is_rapid:
            row = index[place]
            speed = self._row(place).feed_mm_per_min / 60 * self._share
            return Stretch(row.from_mm, row.y_mm, row.to_mm, row.y_mm, speed)
        return rapid_after(self._sheet, place, start_mm=self._start_mm)

    def near(self, x_mm: float, y_mm: float, first: Spot, last: Spot) -> tuple[Spot, Spot] | None:
        """Return the first and the last spot from `first` to `last` that is near a place."""
        found = []
        for number in range(first[0], last[0] + 1):
            along = self.stretch(number).near(x_mm, y_mm)
            if along is not None:
                found.append((max((number, along[0]), first), min((number, along[1]), last)))
        between = [ends for ends in found if ends[0] <= ends[1]]
        return (between[0][0], between[-1][1]) if between else None

    def ahead(self, spot: Spot, seconds: float) -> Spot:
        """Return the furthest spot that the head can reach `seconds` after `spot`."""
        for number in range(spot[0], self.end[0] + 1):
            stretch = self.stretch(number)
            along_mm = spot[1] if number == spot[0] else 0.0
            left_s = (stretch.length_mm - along_mm) / stretch.speed_mm_per_s
            if seconds <= left_s:
                return number, along_mm + seconds * stretch.speed_mm_per_s
            seconds -= left_s
        return self.end

    def back(self, spot: Spot, seconds: float) -> Spot:
        """Return the earliest spot where the head can have been `seconds` before `spot`."""
        for number in range(spot[0], BEGIN[0] - 1, -1):
            stretch = self.stretch(number)
            along_mm = spot[1] if number == spot[0] else stretch.length_mm
            passed_s = along_mm / stretch.speed_mm_per_s
            if seconds <= passed_s:
                return number, along_mm - seconds * stretch.speed_mm_per_s
            seconds -= passed_s
        return BEGIN

    def _row(self, place: int) -> _Row:
        if place not in self._rows:
            self._rows[place] = self._read(place)
        return self._rows[place]

    def _read(self, place: int) -> _Row:
        """Read a row; one that cannot be read counts as burnt in every millimetre, and as fast."""
        entry = self._sheet.index[place]
        moves = [found for line in self._read_row(place) if (found := _MOVE.fullmatch(line))]
        if not moves:
            whole = (0.0, abs(entry.to_mm - entry.from_mm))
            return _Row(self._sheet.head.max_feed_mm_per_min, whole)
        feeds = [float(move[3]) for move in moves if move[3]]
        ends = list(accumulate(abs(float(move[1])) for move in moves))
        burnt = [place for place, move in enumerate(moves) if int(move[2])]
        return _Row(
            max(feeds, default=self._sheet.recipe.feed_mm_per_min),
            (ends[burnt[0] - 1] if burnt[0] else 0.0, ends[burnt[-1]]) if burnt else None,
        )
