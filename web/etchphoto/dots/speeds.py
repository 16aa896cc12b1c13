"""How fast each dot of a picture is really run, and what that does to its light.

In fine detail the controller cannot take lines in as fast as the recipe's speed wants them, and
the head slows down (`etchpath.motion`). Dynamic power goes down with the speed, so a dot gets about
the same energy, but over a longer time and from less power, and less power darkens less than its
share. About, because power follows the speed at a run's end, and that is seldom the run's mean.
"""

from dataclasses import dataclass, replace
from itertools import islice
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.writer.dots import run_up_mm
from etchpath.writer.raster import UM_PER_MM, Bits, Raster, RowOfDots, etched_rows, parts_of
from etchpath.writer.span_row import RowMoves, travel_of
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.heads import Head, Recipe

Floats = NDArray[np.floating[Any]]

_DOTS_AT_ONCE: Final = 64_000  # the more, the less it costs, and the more memory it takes


@dataclass(frozen=True, slots=True)
class Motion:
    """What decides how fast dots are run: the head, the recipe, and which way the rows go."""

    head: Head
    recipe: Recipe
    is_both_directions: bool = True

    def light(self, bits: Bits, dot: Dot, rows: slice = slice(None)) -> NDArray[np.float32]:
        """Return by what factor the light of each dot counts because of its speed and power."""
        speeds, powers = self.ratios(bits, rows)
        return np.asarray(powers ** np.float32(dot.power_exponent) / speeds)

    def ratios(
        self, bits: Bits, rows: slice = slice(None)
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the share of the recipe's speed, and of its power, at which each dot is run.

        Both are 1 where none is burnt. `bits` is the whole picture (`etchpath.writer.raster`); what
        is returned has the shape of `bits[rows]`.
        """
        first, end, _ = rows.indices(len(bits))
        before = np.flatnonzero(parts_of(bits[:first]).any(axis=1))
        # Rows take turns in direction, so an even number of them has to come before.
        start = int(before[-1]) if len(before) % 2 else first
        parts = parts_of(bits[start:end])
        raster, machine = self._raster(), Machine.of_head(self.head)
        speeds, powers = np.ones((2, *parts.shape), dtype=np.float32)
        etched = etched_rows(bits[start:end], raster)
        rows_at_once = max(1, _DOTS_AT_ONCE // parts.shape[1])
        while some := list(islice(etched, rows_at_once)):
            travel = travel_of([_moves(row, raster) for row in some], machine)
            runs = _Runs.of(parts, some)
            runs.fill(speeds, travel.length_mm / travel.seconds / raster.feed_mm_per_s)
            runs.fill(powers, travel.power_mm_per_s / raster.feed_mm_per_s)
        shape = bits[first:end].shape
        return (
            np.minimum(speeds, 1)[first - start :].reshape(shape),
            np.minimum(powers, 1)[first - start :].reshape(shape),
        )

    def _raster(self) -> Raster:
        feed = self.recipe.feed_mm_per_min
        return Raster(
            left_um=0,
            bottom_um=0,
            spacing_mm=self.recipe.line_spacing_mm,
            feed_mm_per_s=feed / SECONDS_PER_MINUTE,
            s=1,
            run_up_um=round(run_up_mm(self.head, feed) * UM_PER_MM),
            is_both_directions=self.is_both_directions,
        )


def _moves(row: RowOfDots, raster: Raster) -> RowMoves:
    lengths = np.concatenate(([row.run_up_um], row.run_lengths_um, [row.run_up_um]))
    s = np.zeros(len(lengths), dtype=np.int64)
    s[1::2] = raster.s
    feed = np.full(len(lengths), raster.feed_mm_per_s * SECONDS_PER_MINUTE)
    return RowMoves(row.start_um, lengths, s, feed)


@dataclass(frozen=True, slots=True)
class _Runs:
    """The runs of dots of some rows: `at` their dots, `moves` the place of each run's move."""

    at: tuple[NDArray[np.intp], NDArray[np.intp]]
    moves: NDArray[np.intp]
    lengths: NDArray[np.intp]

    @classmethod
    def of(cls, bits: Bits, rows: list[RowOfDots]) -> "_Runs":
        """Take the rows' runs in `bits`; a row's moves are run-up, runs and gaps, and run-out."""
        places = np.array([row.row for row in rows])
        dots = np.pad(bits[places], ((0, 0), (1, 1)))
        edges = np.flatnonzero(dots[:, 1:] != dots[:, :-1])
        at, columns = np.nonzero(dots[:, 1:-1])
        first, moves = 0, []
        for row in rows:
            count = len(row.run_lengths_um)
            lit_moves = np.arange(first + 1, first + 1 + count, 2)
            moves.append(lit_moves[::-1] if row.run_up_um < 0 else lit_moves)
            first += count + 2
        return cls((places[at], columns), np.concatenate(moves), edges[1::2] - edges[::2])

    def fill(self, ratios: Floats, of_moves: Floats) -> None:
        """Write each run's ratio to its dots; `of_moves` has a place for each move of the rows."""
        ratios[self.at] = np.repeat(of_moves[self.moves], self.lengths)


def lit(dot: Dot, light: float) -> Dot:
    """Return `dot` with more or less light: as good as a law that asks for less or more."""
    threshold = min(dot.threshold / light, 0.999)
    return replace(dot, threshold=threshold, scale=dot.scale / light)
