"""The row of the picture in work, by the position that the controller reports."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from etchdaemon.run.row_path import BEGIN, Spot, rapid_after
from etchwire.sheet import RowEntry, Sheet

_BESIDE_MM: Final = 1.0  # the head brakes and turns a little outside a row
_STRAY_MM: Final = 0.05  # a report shows counted steps, which are no coarser than that
BEFORE_THE_FIRST: Final = -1


@dataclass(slots=True)
class Progress:
    """Follows the head through the index of a job's rows, forwards only.

    `start_mm` is where the head stood before the job's first move, in the job's coordinates.
    """

    sheet: Sheet
    start_mm: tuple[float, float] = (0.0, 0.0)
    current: int = BEFORE_THE_FIRST  # place in the index of the row in work
    finished: int = 0  # how many rows of the index are
    predicted_s: float = 0.0  # where in the predicted time the head is
    _lines: list[int] = field(init=False)

    def __post_init__(self) -> None:
        """Keep the rows' first lines for the search by line."""
        self._lines = [entry.line for entry in self.sheet.index]

    @property
    def entry(self) -> RowEntry | None:
        """The row in work, once the first has begun."""
        return None if self.current == BEFORE_THE_FIRST else self.sheet.index[self.current]

    @property
    def etched_rows(self) -> int:
        """How many rows of the picture are finished, those without a dot included."""
        if self.finished == len(self.sheet.index):
            return self.sheet.rows
        if self.finished <= self.current:
            return self.sheet.index[self.current].row
        return 0 if not self.finished else self.sheet.index[self.finished - 1].row + 1

    def place_of_line(self, line: int) -> int:
        """Return the place in the index of the row that holds `line`, or BEFORE_THE_FIRST."""
        return bisect_right(self._lines, line) - 1

    def end_of_row(self, line: int) -> int:
        """Return the last line of the row that holds `line`.

        Lines before the first row end where it begins; after the last row it is the last line
        of the job.
        """
        if line >= self.sheet.end_line:
            return self.sheet.gcode_lines
        following = self.place_of_line(line) + 1
        if following < len(self._lines):
            return self._lines[following] - 1
        return self.sheet.end_line - 1

    def note_place(self, x_mm: float, y_mm: float, *, last_line_sent: int) -> Sequence[RowEntry]:
        """Note the head's place; return the rows that are finished by that, oldest first.

        Only rows of which a line was sent can be in work, which parts rows that lie on one
        another or side by side; and a head on the rapid to a row crosses others on its way.
        """
        index = self.sheet.index
        for place in range(max(self.current, 0), self.place_of_line(last_line_sent) + 1):
            if self._is_in(index[place], x_mm, y_mm):
                self.current = place
                self.predicted_s = self._time_at(place, x_mm)
                return self._finish(place)
            if place > self.current and self._is_on_the_way_to(place, x_mm, y_mm):
                break
        return ()

    def is_astray(self, x_mm: float, y_mm: float, *, last_line_sent: int) -> bool:
        """Return whether the head is off the path of every row that may be under way.

        That is the rows from the one in work to the last of which a line was sent, and the ways
        between them and to the first of them; about the ends of the job, and in another program's
        file, it is anywhere the job goes.
        """
        # A head less than half a spacing from its row may still be on its way from the one before.
        rows = self.sheet.index[max(self.current - 1, 0) : self.place_of_line(last_line_sent) + 1]
        is_at_an_end = self.current <= 0 or last_line_sent >= self.sheet.end_line
        if self.sheet.is_foreign or is_at_an_end or not rows:
            bounds = self.sheet.motion
            across, along = [bounds.left_mm, bounds.right_mm], [bounds.bottom_mm, bounds.top_mm]
            return not (
                _is_between(x_mm, across, _BESIDE_MM) and _is_between(y_mm, along, _BESIDE_MM)
            )
        across = [end for entry in rows for end in (entry.from_mm, entry.to_mm)]
        along = [entry.y_mm for entry in rows]
        return not (_is_between(x_mm, across, _STRAY_MM) and _is_between(y_mm, along, _STRAY_MM))

    def finish_row_in_work(self) -> Sequence[RowEntry]:
        """Note that the head rests at the end of its row; return the rows finished by that."""
        return self._finish(self.current + 1)

    def finish_before(self, place: int) -> Sequence[RowEntry]:
        """Note that all rows before `place` of the index are done; return those that this adds."""
        return self._finish(place)

    def spots(self, *, last_line_sent: int, lines_answered: int) -> tuple[Spot, Spot]:
        """Return the first and last spot of the path where the head may be: the rows under way.

        It leaves the last row only when the line that puts the beam out has been answered.
        """
        # A head less than half a spacing from its row may still be on its way from the one before.
        first = BEGIN if self.current <= 0 else (2 * self.current - 2, 0.0)
        is_parking = lines_answered >= self.sheet.end_line
        number = 2 * self.place_of_line(last_line_sent) + is_parking
        return first, (max(number, BEGIN[0]), math.inf)

    def complete(self) -> Sequence[RowEntry]:
        """Note that the job has ended; return the rows finished by that."""
        self.predicted_s = self.sheet.predicted_s
        return self._finish(len(self.sheet.index))

    def note_moved(
        self, x_mm: float, y_mm: float, *, moved_s: float, last_line_sent: int
    ) -> Sequence[RowEntry]:
        """Follow another program's file by the time of motion; return the rows finished by that.

        Where its strokes cross, a place says little. Nobody is further than the lines sent. The
        way to the job's beginning may lead through anywhere.
        """
        sent = self.place_of_line(last_line_sent)
        if sent < 0 or (
            self.current == BEFORE_THE_FIRST
            and self.is_astray(x_mm, y_mm, last_line_sent=last_line_sent)
        ):
            return ()
        starts_s = [entry.at_s for entry in self.sheet.index]
        ends_s = starts_s[sent + 1] if sent + 1 < len(starts_s) else self.sheet.predicted_s
        self.predicted_s = max(self.predicted_s, min(moved_s, ends_s))
        self.current = max(self.current, min(bisect_right(starts_s, self.predicted_s) - 1, sent), 0)
        return self._finish(self.current)

    def _finish(self, count: int) -> Sequence[RowEntry]:
        finished = self.sheet.index[self.finished : count]
        self.finished = max(self.finished, count)
        return finished

    def _is_on_the_way_to(self, place: int, x_mm: float, y_mm: float) -> bool:
        way = rapid_after(self.sheet, place - 1, start_mm=self.start_mm)
        return way.near(x_mm, y_mm) is not None

    def _is_in(self, entry: RowEntry, x_mm: float, y_mm: float) -> bool:
        left, right = sorted((entry.from_mm, entry.to_mm))
        half_spacing = self.sheet.recipe.line_spacing_mm / 2
        is_beside = left - _BESIDE_MM <= x_mm <= right + _BESIDE_MM
        return is_beside and abs(y_mm - entry.y_mm) < half_spacing

    def _time_at(self, place: int, x_mm: float) -> float:
        entry = self.sheet.index[place]
        is_last = place + 1 == len(self.sheet.index)
        next_at_s = self.sheet.predicted_s if is_last else self.sheet.index[place + 1].at_s
        way_mm = entry.to_mm - entry.from_mm
        share = min(max((x_mm - entry.from_mm) / way_mm, 0.0), 1.0) if way_mm else 0.0
        return entry.at_s + share * (next_at_s - entry.at_s)


def _is_between(place_mm: float, ends_mm: Sequence[float], beside_mm: float) -> bool:
    return min(ends_mm) - beside_mm <= place_mm <= max(ends_mm) + beside_mm
