"""Rows whose dark stretches have settings of their own: what a test card is made of.

A photo has one speed and one power; a card has several, yet each of its rows has one speed, so
that a row is still one straight run with a run-up before it. The power changes along it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from etchpath.arrays import Floats
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.planner import Moves, Travel, planned
from etchpath.writer.dots import run_up_mm
from etchpath.writer.raster import UM_PER_MM, Places
from etchwire.catalogue.heads import Head

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


def row_moves(row: SpanRow, head: Head, *, is_register_corrected: bool = True) -> RowMoves:
    """Return the moves of `row`: run-up, stretches burnt and bare in turn, run-out.

    The head's register puts the row earlier along its own way, unless the card is there to
    measure just that.
    """
    lead_um = 0
    if is_register_corrected:
        lead_um = round(head.register.lead_mm(row.feed_mm_per_min) * UM_PER_MM)
    way = 1 if row.is_forward else -1
    run_up_um = round(run_up_mm(head, row.feed_mm_per_min) * UM_PER_MM)
    edges = np.stack([row.begin_um, row.end_um], axis=1)
    powers = row.s
    if not row.is_forward:
        edges, powers = edges[::-1, ::-1], powers[::-1]
    places = edges.reshape(-1) - way * lead_um
    start_um = int(places[0]) - way * run_up_um
    lengths = np.concatenate(([way * run_up_um], np.diff(places), [way * run_up_um]))
    s = np.zeros(len(lengths), dtype=np.int64)
    s[1::2] = powers
    feed = np.full(len(lengths), row.feed_mm_per_min)
    is_inner_gap = np.zeros(len(lengths), dtype=np.bool_)
    is_inner_gap[2:-1:2] = True
    feed[is_inner_gap & (np.abs(lengths) >= HURRIED_GAP_UM)] = head.max_feed_mm_per_min
    moves = lengths != 0  # stretches that touch have no gap between them
    return RowMoves(start_um, lengths[moves], s[moves], feed[moves])


def travel_of(rows: Sequence[RowMoves], machine: Machine) -> Travel:
    """Return how the head runs the moves of some rows, each from rest to rest."""
    dx_mm = np.concatenate([row.lengths_um for row in rows]) / UM_PER_MM
    feed = np.concatenate([row.feed_mm_per_min for row in rows]) / SECONDS_PER_MINUTE
    stops = np.zeros(len(dx_mm), dtype=np.bool_)
    stops[np.cumsum([0, *(len(row.lengths_um) for row in rows[:-1])])] = True
    return planned(Moves(dx_mm, np.zeros(len(dx_mm)), feed, stops), machine)
