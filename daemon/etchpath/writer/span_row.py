"""Rows whose dark stretches have settings of their own: what a test card is made of.

A photo has one speed and one power; a card has several, yet each of its rows has one speed, so
that a row is still one straight run with a run-up before it. The power changes along it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from etchpath.arrays import Floats
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.planner import Moves, Travel, planned
from etchpath.writer.dots import run_up_mm
from etchpath.writer.raster import UM_PER_MM, Places
from etchwire.catalogue.heads import Head, Register

# A long bare stretch is crossed at full speed, beam off: at the speed of the slowest patch the
# corners of a card alone would take half an hour. Shorter ones keep the head's speed even.
HURRIED_GAP_UM: Final = 5500


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanRow:
    """One row: stretches that burn, left to right, in µm from the card's left edge.

    `s` is each stretch's power; stretches may touch but not overlap, and none is empty. `row`
    counts from the card's top.
    """

    row: int
    feed_mm_per_min: float
    begin_um: Places
    end_um: Places
    s: Places
    is_forward: bool


@dataclass(frozen=True, slots=True)
class RowMoves:
    """A row as the moves that follow its rapid: signed lengths, powers, speeds.

    `start_um` is where the run-up begins; the first move is the run-up, the last the run-out.
    """

    start_um: int
    lengths_um: Places
    s: Places
    feed_mm_per_min: Floats

    @property
    def end_um(self) -> int:
        """Where the run-out ends."""
        return self.start_um + int(self.lengths_um.sum())


def moves_of(
    rows: Sequence[SpanRow], head: Head, *, is_register_corrected: bool = True
) -> list[RowMoves]:
    """Return the moves of each row: run-up, stretches burnt and bare in turn, run-out.

    The head's register puts a row earlier along its own way, unless the card is there to
    measure just that. All rows are worked out side by side: a card has a thousand, of few moves.
    """
    if not rows:
        return []
    stretches = np.array([len(row.s) for row in rows])
    feeds = [row.feed_mm_per_min for row in rows]
    way = np.array([1 if row.is_forward else -1 for row in rows])
    register = head.register if is_register_corrected else Register()
    ahead_um = way * _of_feeds(feeds, lambda feed: round(register.lead_mm(feed) * UM_PER_MM))
    run_up_um = way * _of_feeds(feeds, lambda feed: round(run_up_mm(head, feed) * UM_PER_MM))
    # Stretches as the head comes to them: those of a row to the left from the right end on.
    first = np.cumsum(stretches) - stretches
    here = np.arange(stretches.sum())
    is_back = np.repeat(way < 0, stretches)
    come_to = np.where(is_back, np.repeat(2 * first + stretches - 1, stretches) - here, here)
    begin_um, end_um, s = (
        np.concatenate(parts)[come_to]
        for parts in zip(*((row.begin_um, row.end_um, row.s) for row in rows), strict=True)
    )
    edges_um = np.stack([np.where(is_back, end_um, begin_um), np.where(is_back, begin_um, end_um)])
    edges_um -= np.repeat(ahead_um, stretches)
    # A row's moves: its run-up, then before each stretch but the first a gap, at last its run-out.
    moves = 2 * stretches + 1
    starts = np.cumsum(moves) - moves
    burns = 2 * here + np.repeat(np.arange(len(rows)), stretches) + 1
    lengths_um = np.empty(moves.sum(), dtype=np.int64)
    lengths_um[burns] = edges_um[1] - edges_um[0]
    lengths_um[burns[1:] - 1] = edges_um[0, 1:] - edges_um[1, :-1]
    is_inner_gap = np.ones(len(lengths_um), dtype=np.bool_)
    is_inner_gap[burns] = False
    for ends in (starts, starts + moves - 1):
        lengths_um[ends] = run_up_um
        is_inner_gap[ends] = False
    powers = np.zeros(len(lengths_um), dtype=np.int64)
    powers[burns] = s
    feed = np.repeat(np.array(feeds, dtype=np.float64), moves)
    feed[is_inner_gap & (np.abs(lengths_um) >= HURRIED_GAP_UM)] = head.max_feed_mm_per_min
    is_move = lengths_um != 0  # stretches that touch have no gap between them
    ends = np.cumsum(np.add.reduceat(is_move, starts, dtype=np.int64)).tolist()
    all_moves = (lengths_um[is_move], powers[is_move], feed[is_move])
    starts_um = (edges_um[0, first] - run_up_um).tolist()
    return [
        RowMoves(start_um, *(part[begin:end] for part in all_moves))
        for start_um, begin, end in zip(starts_um, [0, *ends[:-1]], ends, strict=True)
    ]


def _of_feeds(feeds: Sequence[float], um: Callable[[float], int]) -> Places:
    """Return what `um` says of each speed; a card has few."""
    known = {feed: um(feed) for feed in set(feeds)}
    return np.array([known[feed] for feed in feeds], dtype=np.int64)


def travel_of(rows: Sequence[RowMoves], machine: Machine) -> Travel:
    """Return how the head runs the moves of some rows, each from rest to rest."""
    dx_mm = np.concatenate([row.lengths_um for row in rows]) / UM_PER_MM
    feed = np.concatenate([row.feed_mm_per_min for row in rows]) / SECONDS_PER_MINUTE
    stops = np.zeros(len(dx_mm), dtype=np.bool_)
    stops[np.cumsum([0, *(len(row.lengths_um) for row in rows[:-1])])] = True
    return planned(Moves(dx_mm, np.zeros(len(dx_mm)), feed, stops), machine)
