"""The way of the head: every line's moves as straight pieces, arcs cut as the controller does."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Columns, Counts, Flags, Floats
from etchpath.language.dialect import CONSTANT_POWER, FIRST_ARC, RAPID, Number
from etchpath.language.states import States
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.arcs import Arcs, ArcWords, chord_counts, chord_ends, solve
from etchpath.motion.planner import Moves
from etchwire.controller.profile import DOT_WORDS

Words = NDArray[np.int16]

PIECES_AT_ONCE: Final = 40_000  # bounds the memory where many arcs meet


@dataclass(frozen=True, slots=True)
class Toolpath(Columns):
    """Straight pieces in order, as arrays: where each ends, and how it is run.

    `line` counts from 1 in the file and `byte` is how much has been sent when that line ends: empty
    lines are not. `words` is how many the line has. `beam_s` is the S word while the beam is on,
    else 0. `wait_s` is spent at rest before the piece.
    """

    line: Counts
    byte: Counts
    words: Words
    x_mm: Floats
    y_mm: Floats
    dx_mm: Floats
    dy_mm: Floats
    feed_mm_per_s: Floats
    beam_s: Floats
    is_constant_power: Flags
    stops_before: Flags
    wait_s: Floats

    def __len__(self) -> int:
        return len(self.line)

    @property
    def moves(self) -> Moves:
        """The pieces as the planner wants them."""
        return Moves(self.dx_mm, self.dy_mm, self.feed_mm_per_s, self.stops_before, self.words)


class Tracer:
    """Turns states into courses; remembers the stops and dwells that no move has followed yet."""

    def __init__(self, machine: Machine) -> None:
        """Begin at the origin, at rest."""
        self._machine = machine
        self._x_mm = self._y_mm = 0.0  # where whole motor steps have brought the head
        self._is_stopped = False
        self._unsent_bytes = 0
        self.waiting_s = 0.0

    def trace(self, states: States) -> Iterator[Toolpath]:
        """Yield the toolpath of the lines of `states`, in parts that fit in memory."""
        stops = np.cumsum(states.stops)
        waits_s = np.cumsum(np.nan_to_num(states.given(Number.DWELL_S)))
        is_empty = states.lines.sizes_bytes()[states.part] == 1
        sent_bytes = states.line_ends - np.cumsum(is_empty) - self._unsent_bytes
        self._unsent_bytes += int(is_empty.sum())
        seen_stops, seen_s = 0, 0.0
        for places, x_mm, y_mm in self._ends(states):
            toolpath = self._course(states, places, x_mm, y_mm, sent_bytes[places])
            if len(toolpath) == 0:
                continue
            here = toolpath.line - states.line_number
            toolpath.stops_before[:] = np.diff(stops[here], prepend=seen_stops) > 0
            toolpath.stops_before[0] |= self._is_stopped
            toolpath.wait_s[:] = np.diff(waits_s[here], prepend=seen_s)
            toolpath.wait_s[0] += self.waiting_s
            toolpath.wait_s[toolpath.stops_before] += self._machine.after_stop_s
            self._is_stopped, self.waiting_s = False, 0.0
            seen_stops, seen_s = int(stops[here[-1]]), float(waits_s[here[-1]])
            yield toolpath
        self._is_stopped |= bool(stops[-1] > seen_stops)
        self.waiting_s += float(waits_s[-1]) - seen_s

    def _ends(self, states: States) -> Iterator[tuple[Counts, Floats, Floats]]:
        """Yield, for the pieces of all moves: which line each is of, and where it ends."""
        moves = np.flatnonzero(states.is_move)
        is_arc = states.motion[moves] >= FIRST_ARC
        arcs = _arcs(states, moves[is_arc])
        counts = np.ones(len(moves), dtype=np.int64)
        counts[is_arc] = chord_counts(arcs, self._machine.arc_tolerance_mm)
        arcs_before: Counts = np.cumsum(is_arc) - is_arc
        for part in _parts(counts):
            pieces = counts[part]
            on_arc = np.repeat(is_arc[part], pieces)
            x_mm = np.repeat(states.x_mm[moves[part]], pieces)
            y_mm = np.repeat(states.y_mm[moves[part]], pieces)
            if on_arc.any():
                first = int(arcs_before[part.start])
                some = slice(first, first + int(is_arc[part].sum()))
                x_mm[on_arc], y_mm[on_arc] = chord_ends(arcs.part(some), pieces[is_arc[part]])
            yield np.repeat(moves[part], pieces), x_mm, y_mm

    def _course(
        self, states: States, places: Counts, x_mm: Floats, y_mm: Floats, sent_bytes: Counts
    ) -> Toolpath:
        steps = self._machine.steps_per_mm
        x_mm, y_mm = np.rint(x_mm * steps) / steps, np.rint(y_mm * steps) / steps
        dx_mm = np.diff(x_mm, prepend=self._x_mm)
        dy_mm = np.diff(y_mm, prepend=self._y_mm)
        if len(places):
            self._x_mm, self._y_mm = float(x_mm[-1]), float(y_mm[-1])
        feed = states.feed_mm_per_min[places] / SECONDS_PER_MINUTE
        words = states.lines.words[states.part][places]  # chords are no lines and have none
        beam_s = np.where(states.is_beam_on[places], states.power_s[places], 0.0)
        toolpath = Toolpath(
            line=places + states.line_number,
            byte=sent_bytes,
            words=np.where(states.motion[places] < FIRST_ARC, words, np.int16(DOT_WORDS)),
            x_mm=x_mm,
            y_mm=y_mm,
            dx_mm=dx_mm,
            dy_mm=dy_mm,
            feed_mm_per_s=np.where(states.motion[places] == RAPID, np.inf, feed),
            beam_s=beam_s,
            is_constant_power=states.spindle[places] == CONSTANT_POWER,
            stops_before=np.zeros(len(places), dtype=bool),
            wait_s=np.zeros(len(places)),
        )
        return toolpath.part((dx_mm != 0) | (dy_mm != 0))  # less than half a step is no block


def _arcs(states: States, moves: Counts) -> Arcs:
    """Solve the arcs at `moves`, and remark on those that the controller would refuse."""
    scale = states.scale[moves]
    i, j, r = (states.given(name)[moves] * scale for name in (Number.I, Number.J, Number.R))
    start_x, start_y = states.start_x_mm[moves], states.start_y_mm[moves]
    words = ArcWords(
        motion=states.motion[moves],
        dx=states.x_mm[moves] - start_x,
        dy=states.y_mm[moves] - start_y,
        i=i,
        j=j,
        r=r,
    )
    arcs = solve(words, start_x, start_y)
    states.lines.remark("arc not closed", moves[arcs.is_open] + states.first)
    states.lines.remark("radius too small", moves[arcs.is_too_small] + states.first)
    return arcs


def _parts(counts: Counts) -> Iterator[slice]:
    """Yield runs of moves that make some PIECES_AT_ONCE pieces each."""
    totals = np.cumsum(counts)
    first = 0
    while first < len(counts):
        done = totals[first - 1] if first else 0
        end = max(first + 1, int(np.searchsorted(totals, done + PIECES_AT_ONCE, side="right")))
        yield slice(first, end)
        first = end
