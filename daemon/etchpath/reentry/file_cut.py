"""Where another program's file was cut, and from which of its moves the rest can be etched.

The cut lies in what the controller held: no further back than its planner reaches from the last
line answered. There it is found by the head's place; where two parts of the path fit that place,
a crossing or a second pass, nobody can tell which it was. The rest starts at the next move that
is made with the beam off, so nothing is burnt twice, and what is missing till there is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO, Final, Self

import numpy as np

from etchpath.errors import NoReentry
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.timeline import Timed
from etchpath.motion.toolpath import Toolpath
from etchpath.preflight import inspect
from etchpath.tidying import Tidying
from etchwire.transport.json_text import JsonTable

NEAR_MM: Final = 0.03  # a report shows whole steps, and an arc is run in chords
MOST_APART_MM: Final = 3.0  # of two places that both fit: about a corner, or beside an end
_READ_AT_ONCE_BYTES: Final = 256 * 1024


@dataclass(frozen=True, slots=True)
class Sighting:
    """Where the head was seen, at most `back_s` after the cut or `ahead_s` before it."""

    x_mm: float
    y_mm: float
    back_s: float
    ahead_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FileCut:
    """What the record holds of a cut; without `seen` the beam was on until the head stood still.

    `answered_at_cut` and `answered` count lines that hold something, at the cut and at rest.
    """

    seen: tuple[Sighting, ...]
    rest: Sighting
    answered_at_cut: int
    answered: int
    planner_blocks: int
    fastest_percent: int = 100

    @classmethod
    def from_table(cls, table: JsonTable) -> Self:
        """Read a cut as the record holds it; raise NoReentry for anything else."""
        try:
            return cls(
                seen=tuple(Sighting(*map(float, values)) for values in table["seen"]),
                rest=Sighting(*map(float, table["rest"])),
                answered_at_cut=int(table["answered_at_cut"]),
                answered=int(table["answered"]),
                planner_blocks=int(table["planner_blocks"]),
                fastest_percent=int(table["fastest_percent"]),
            )
        except (KeyError, TypeError, ValueError) as error:
            raise NoReentry("the record of the cut cannot be read") from error


@dataclass(frozen=True, slots=True)
class Resumption:
    """The line from which the rest is etched, and how much before it stays bare, at most."""

    line: int
    gap_mm: float


def find_resumption(file: BinaryIO, machine: Machine, cut: FileCut) -> Resumption:
    """Return where the rest of `file` begins; raise NoReentry, with the reason."""
    at_cut, at_rest = _lines_of(file, (cut.answered_at_cut, cut.answered))
    pieces = _Pieces(at_cut, at_rest, keeps_lines=cut.planner_blocks + 2)
    file.seek(0)
    report = inspect(file, machine, on_times=[pieces.see_times])
    if not report.has_reentry:
        raise NoReentry("the file shifts its own origin, so no place in it is known for sure")
    path = _Path(pieces.kept(), machine, cut.fastest_percent / 100, at_rest)
    early, late = path.cut(cut)
    resumption = path.resumption(early, late)
    if resumption.line > pieces.last_lit_line:
        raise NoReentry(
            f"behind the cut nothing is left but the end of that stroke, {resumption.gap_mm:.1f} mm"
            " at most"
        )
    return resumption


def _lines_of(file: BinaryIO, counts: Sequence[int]) -> tuple[int, ...]:
    """Return, for each count, the number of the line that is the n-th to hold something."""
    file.seek(0)
    tidying, parts, unended = Tidying(file), [np.zeros(1, dtype=bool)], b""
    while data := tidying.read(_READ_AT_ONCE_BYTES):
        *lines, unended = (unended + data).split(b"\n")
        parts.append(np.array([bool(line) for line in lines], dtype=bool))
    if tidying.tidied_lines:
        raise NoReentry("the file was loaded by an earlier release, which sent other lines")
    filled = np.cumsum(np.concatenate(parts))
    return tuple(int(place) for place in np.searchsorted(filled, counts))


class _Pieces:
    """A watcher that keeps the path about the cut: what was under way, and on to a dark move."""

    def __init__(self, at_cut: int, at_rest: int, *, keeps_lines: int) -> None:
        self.last_lit_line = 0
        self._at_cut = at_cut
        self._at_rest = at_rest
        self._keeps_lines = keeps_lines
        self._kept: Toolpath | None = None
        self._is_complete = False

    def see_times(self, timed: Timed) -> None:
        toolpath = timed.toolpath
        lit = toolpath.line[toolpath.beam_s > 0]
        if len(lit):
            self.last_lit_line = int(lit[-1])
        if self._is_complete:
            return
        kept = toolpath if self._kept is None else self._kept.joined(toolpath)
        before = np.unique(kept.line[kept.line <= self._at_cut])
        if len(before) > self._keeps_lines:
            kept = kept.part(kept.line >= before[-self._keeps_lines])
        self._kept = kept
        self._is_complete = bool(((kept.line > self._at_rest) & (kept.beam_s == 0)).any())

    def kept(self) -> Toolpath:
        if self._kept is None:
            raise NoReentry("the file has no move")
        return self._kept


_Spot = tuple[int, float]  # number of a piece, mm along it


class _Path:
    """Pieces in order, and how fast the head is on them at most."""

    def __init__(self, toolpath: Toolpath, machine: Machine, share: float, at_rest: int) -> None:
        self._line = toolpath.line
        self._is_lit = toolpath.beam_s > 0
        self._start = np.stack(
            (toolpath.x_mm - toolpath.dx_mm, toolpath.y_mm - toolpath.dy_mm), axis=1
        )
        self._way = np.stack((toolpath.dx_mm, toolpath.dy_mm), axis=1)
        self._length = np.hypot(toolpath.dx_mm, toolpath.dy_mm)
        fastest = np.hypot(machine.max_feed_x_mm_per_min, machine.max_feed_y_mm_per_min)
        self._speed = np.minimum(toolpath.feed_mm_per_s * share, fastest / SECONDS_PER_MINUTE)
        self._under_way = int(np.count_nonzero(toolpath.line <= at_rest))

    def cut(self, cut: FileCut) -> tuple[_Spot, _Spot]:
        """Return between which spots the beam went out."""
        seen = cut.seen or (cut.rest,)
        found = [(sighting, self._near(sighting)) for sighting in seen]
        placed = [(sighting, ends) for sighting, ends in found if ends is not None]
        if not placed:
            raise NoReentry("the head was not where anything of the file goes that was under way")
        early = max(self._back(first, sighting.back_s) for sighting, (first, _) in placed)
        late = min(self._ahead(last, sighting.ahead_s) for sighting, (_, last) in placed)
        return min(early, late), max(early, late)

    def resumption(self, early: _Spot, late: _Spot) -> Resumption:
        """Return the first dark move that is not behind the head, and what stays bare till there.

        A cut in the dark goes on with the dark move that it fell into.
        """
        dark = np.flatnonzero(~self._is_lit[late[0] :])
        if not len(dark):
            raise NoReentry("behind the cut no move is made with the beam off, to start from")
        line = int(self._line[late[0] + dark[0]])
        first = int(np.searchsorted(self._line, line))
        lit = np.where(self._is_lit, self._length, 0.0)[early[0] : first]
        gap_mm = float(lit.sum())
        if len(lit) and self._is_lit[early[0]]:
            gap_mm -= early[1]
        return Resumption(line, gap_mm)

    def _near(self, seen: Sighting) -> tuple[_Spot, _Spot] | None:
        """Return the ends of the one part of the path that is near a sighting; None for none."""
        here = slice(0, self._under_way)
        to = np.array((seen.x_mm, seen.y_mm)) - self._start[here]
        length = self._length[here]
        ahead = self._way[here] / length[:, None]
        along = np.clip((to * ahead).sum(axis=1), 0.0, length)
        off = np.hypot(*(to - ahead * along[:, None]).T)
        places = np.flatnonzero(off <= NEAR_MM)
        if not len(places):
            return None
        reach = np.sqrt(NEAR_MM**2 - off[places] ** 2)
        begins = np.maximum(along[places] - reach, 0.0)
        ends = np.minimum(along[places] + reach, length[places])
        ran_mm = np.cumsum(length) - length  # before each piece
        apart_mm = ran_mm[places[1:]] + begins[1:] - ran_mm[places[:-1]] - ends[:-1]
        if apart_mm.max(initial=0.0) > MOST_APART_MM:
            raise NoReentry(
                "the path goes more than once where the beam went out, and which time it was the"
                " controller does not say"
            )
        first, last = int(places[0]), int(places[-1])
        return (first, float(begins[0])), (last, float(ends[-1]))

    def _ahead(self, spot: _Spot, seconds: float) -> _Spot:
        for number in range(spot[0], len(self._line)):
            along_mm = spot[1] if number == spot[0] else 0.0
            left_s = float((self._length[number] - along_mm) / self._speed[number])
            if seconds <= left_s:
                return number, along_mm + seconds * float(self._speed[number])
            seconds -= left_s
        return len(self._line) - 1, float(self._length[-1])

    def _back(self, spot: _Spot, seconds: float) -> _Spot:
        for number in range(spot[0], -1, -1):
            along_mm = spot[1] if number == spot[0] else float(self._length[number])
            passed_s = along_mm / float(self._speed[number])
            if seconds <= passed_s:
                return number, along_mm - seconds * float(self._speed[number])
            seconds -= passed_s
        return 0, 0.0
