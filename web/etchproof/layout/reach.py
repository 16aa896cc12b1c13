"""Reach: how fast the head really goes where it burns, by the motion model.

The controller plans so few moves ahead that in fine detail the head cannot get up to a high
speed. Dynamic power keeps the energy per millimetre then, but the photo gains nothing.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from etchpath.arrays import Flags, Floats
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.planner import Travel
from etchpath.writer.raster import UM_PER_MM
from etchpath.writer.span_row import SpanRow, moves_of, travel_of
from etchphoto.halftone import HALFTONES
from etchproof.card import REALLY_RUN, Area
from etchwire.catalogue.heads import Head

PHOTO_COVERAGE: Final = 0.5  # the finest detail: half burnt, half bare

_ROW_DOTS: Final = 400
_ROWS: Final = 24
_SETTLED_ROWS: Final = 16  # a halftone needs some rows to find its pattern


@dataclass(frozen=True, slots=True)
class _Band:
    """How the head runs rows that follow one another, for all that stands side by side in them."""

    middles_um: Floats  # of the moves
    is_lit: Flags
    travel: Travel

    def lit_between(self, left_um: float, right_um: float) -> Travel | None:
        burns = self.is_lit & (self.middles_um > left_um) & (self.middles_um < right_um)
        return self.travel.part(burns) if burns.any() else None


def _bands(bands: Sequence[Sequence[SpanRow]], head: Head) -> Iterator[_Band | None]:
    """Yield how the head runs each band of rows; None for one without rows.

    Every row is run from rest to rest, so the motion of all of them is worked out at once.
    """
    moves = moves_of([row for rows in bands for row in rows], head, is_register_corrected=False)
    travel = travel_of(moves, Machine.of_head(head)) if moves else Travel.none()
    first_row = first_move = 0
    for rows in bands:
        here = moves[first_row : first_row + len(rows)]
        if not here:
            yield None
            continue
        middles = [row.start_um + np.cumsum(row.lengths_um) - row.lengths_um / 2 for row in here]
        is_lit = np.concatenate([row.s for row in here]) > 0
        end = first_move + len(is_lit)
        yield _Band(np.concatenate(middles), is_lit, travel.part(slice(first_move, end)))
        first_row, first_move = first_row + len(rows), end


def true_feeds_mm_per_min(
    rows: Sequence[SpanRow], areas: Iterable[Area], spacing_mm: float, head: Head
) -> Iterator[float | None]:
    """Yield the mean speed inside each area while the beam is on, by time; None if it is bare."""
    for lit in lit_travels(rows, areas, spacing_mm, head):
        if lit is None:
            yield None
        else:
            yield float(lit.length_mm.sum() / lit.seconds.sum()) * SECONDS_PER_MINUTE


def lit_travels(
    rows: Sequence[SpanRow], areas: Iterable[Area], spacing_mm: float, head: Head
) -> Iterator[Travel | None]:
    """Yield how the head runs what it burns inside each area; None if that is bare.

    The motion of rows that several areas share is worked out once.
    """
    all_areas = tuple(areas)
    heights = list(dict.fromkeys((area.top, area.bottom) for area in all_areas))
    crossed = [[row for row in rows if top <= row.row < bottom] for top, bottom in heights]
    band_of = dict(zip(heights, _bands(crossed, head), strict=True))
    for area in all_areas:
        band = band_of[area.top, area.bottom]
        sides_um = (round(column * spacing_mm * UM_PER_MM) for column in (area.left, area.right))
        yield None if band is None else band.lit_between(*sides_um)


@lru_cache(maxsize=64)
def photo_reach_mm_per_min(head: Head, spacing_mm: float, halftone: str) -> float:
    """Return the highest speed that a photo in this halftone can really run on `head`, in mm/min.

    At it the fine detail of a middle grey runs at no less than `REALLY_RUN` of what was asked.
    """
    slow, fast = 0.0, head.max_feed_mm_per_min
    if _is_really_run(head, spacing_mm, halftone, fast):
        return fast
    while fast - slow > 1.0:
        middle = (slow + fast) / 2
        if _is_really_run(head, spacing_mm, halftone, middle):
            slow = middle
        else:
            fast = middle
    return slow


def _is_really_run(head: Head, spacing_mm: float, halftone: str, feed_mm_per_min: float) -> bool:
    rows = _photo_rows(_halftone_rows(halftone), spacing_mm, feed_mm_per_min)
    middle = Area(0, _ROW_DOTS // 4, len(rows), _ROW_DOTS * 3 // 4)
    (true,) = true_feeds_mm_per_min(rows, [middle], spacing_mm, head)
    return true is not None and true >= REALLY_RUN * feed_mm_per_min


def photo_time_s(
    head: Head, spacing_mm: float, halftone: str, *, feed_mm_per_min: float, side_mm: float
) -> float:
    """Return how long a square photo of the finest detail takes on `head`, by the motion model."""
    dots = round(side_mm / spacing_mm)
    rows = _photo_rows(_halftone_rows(halftone, dots), spacing_mm, feed_mm_per_min)
    moves = moves_of(rows, head, is_register_corrected=False)
    seconds = float(travel_of(moves, Machine.of_head(head)).seconds.sum())
    return seconds / len(rows) * dots


def _photo_rows(bits: np.ndarray, spacing_mm: float, feed_mm_per_min: float) -> list[SpanRow]:
    rows = []
    for number, dots in enumerate(bits):
        changes = np.flatnonzero(np.diff(dots, prepend=False, append=False))
        places = np.rint(changes * (spacing_mm * UM_PER_MM)).astype(np.int64)
        rows.append(
            SpanRow(
                row=number,
                feed_mm_per_min=feed_mm_per_min,
                begin_um=places[::2],
                end_um=places[1::2],
                s=np.ones(len(places) // 2, dtype=np.int64),
                is_forward=True,
            )
        )
    return rows


@lru_cache(maxsize=8)
def _halftone_rows(halftone: str, dots: int = _ROW_DOTS) -> np.ndarray:
    coverage = np.full((_ROWS, dots), PHOTO_COVERAGE)
    return HALFTONES[halftone](coverage)[_SETTLED_ROWS:]
