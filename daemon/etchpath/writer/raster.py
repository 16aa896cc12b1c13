"""Rows of dots as G-code: where each run of equal dots ends, and the fewest bytes that say so.

Dots are square, as wide as rows lie apart. A run may begin and end within one: dots of shape
(rows, columns, parts) say of each part along the row whether it burns, of shape (rows, columns)
of whole dots. Row 0 is on top.

All places are whole micrometres from the job's origin. Each run ends at its own rounded
place, so a row of a thousand runs is as right at its end as at its start; lengths are the
differences.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

UM_PER_MM: Final = 1000
INSIDE_UM: Final = 10  # to which runs end within a dot: below any step, and a digit less
ROWS_AT_ONCE: Final = 100  # bounds the memory; larger is no faster
_KEPT_WORDS: Final = 4096  # the rows of a job say the same lengths and speeds again and again

Bits = NDArray[np.bool_]
Places = NDArray[np.int64]
_Value = TypeVar("_Value", bound=np.generic)


@dataclass(frozen=True, slots=True, kw_only=True)
class Raster:
    """How a block of dots is etched: places in µm, speed in mm/s, power as an S word.

    `lead_um` is how far ahead of its place every row starts, along its own direction.
    """

    left_um: int
    bottom_um: int
    spacing_mm: float
    feed_mm_per_s: float
    s: int
    run_up_um: int
    lead_um: int = 0
    is_both_directions: bool = True

    def edges_um(self, bits: Bits) -> Places:
        """Return where each part of a row of `bits` begins, and at last where the last one ends."""
        parts, columns = parts_per_dot(bits), bits.shape[1]
        edges_um = np.arange(columns * parts + 1) * (self.spacing_mm * UM_PER_MM / parts)
        is_inside = np.arange(columns * parts + 1) % parts > 0
        edges_um[is_inside] = np.rint(edges_um[is_inside] / INSIDE_UM) * INSIDE_UM
        edges: Places = np.rint(edges_um).astype(np.int64)
        return edges + self.left_um

    def row_um(self, row: int, rows: int) -> int:
        """Return the height of the middle of `row`, counted from the top of `rows`."""
        return self.bottom_um + round((rows - 1 - row + 0.5) * self.spacing_mm * UM_PER_MM)


@dataclass(frozen=True, slots=True)
class RowOfDots:
    """One etched row: where its run-up starts, where its run-out ends, and the runs between."""

    row: int
    start_um: int
    end_um: int
    run_up_um: int  # signed; the run-out is as long
    runs: bytes
    run_lengths_um: Places  # signed; burnt, dark, burnt ... burnt


def parts_of(bits: NDArray[_Value]) -> NDArray[_Value]:
    """Return the parts of all dots side by side: shape (rows, columns × parts)."""
    return bits.reshape(len(bits), math.prod(bits.shape[1:]))


def parts_per_dot(bits: NDArray[Any]) -> int:
    """Return in how many parts along the row each dot is given."""
    return bits.shape[2] if bits.ndim == 3 else 1


def in_parts(bits: Bits, parts: int) -> Bits:
    """Return dots given in `parts` each: whole ones burn, or stay bare, in all of them."""
    return bits if parts_per_dot(bits) == parts else bits[..., np.newaxis].repeat(parts, axis=2)


def etched_rows(bits: Bits, raster: Raster) -> Iterator[RowOfDots]:
    """Yield the rows of `bits` (True burns) of which something burns."""
    edges_um = raster.edges_um(bits)
    parts = parts_of(bits)
    is_forward = True
    for first in range(0, len(bits), ROWS_AT_ONCE):
        chunk = parts[first : first + ROWS_AT_ONCE]
        rows = np.flatnonzero(chunk.any(axis=1))
        if len(rows) == 0:
            continue
        forward = np.ones(len(rows), dtype=bool)
        if raster.is_both_directions:
            forward = (np.arange(len(rows)) % 2 == 0) == is_forward
            is_forward = not forward[-1]
        yield from _encoded(chunk[rows], rows + first, forward, edges_um, raster)


@dataclass(frozen=True, slots=True)
class _Edges:
    """Where dots begin and end in some rows, each row in the order in which it is run."""

    at_um: Places
    per_row: Places  # an even number: every dot that begins also ends

    @property
    def run_lengths_um(self) -> Places:
        """Signed lengths between the edges of a row; burnt and dark take turns."""
        between_rows = np.cumsum(self.per_row)[:-1] - 1
        return np.delete(np.diff(self.at_um), between_rows)


def _edges(bits: Bits, forward: Bits, edges_um: Places, lead_um: int) -> _Edges:
    padded = np.pad(bits, ((0, 0), (1, 1)))
    changes = padded[:, 1:] != padded[:, :-1]
    changes[~forward] = changes[~forward, ::-1]
    row, column = np.nonzero(changes)
    is_forward = forward[row]
    column = np.where(is_forward, column, bits.shape[1] - column)
    at_um = edges_um[column] - np.where(is_forward, lead_um, -lead_um)
    return _Edges(at_um, np.bincount(row, minlength=len(bits)))


def _encoded(
    bits: Bits, rows: Places, forward: Bits, edges_um: Places, raster: Raster
) -> Iterator[RowOfDots]:
    edges = _edges(bits, forward, edges_um, raster.lead_um)
    lengths_um = edges.run_lengths_um
    last = np.cumsum(edges.per_row) - 1
    first = last - edges.per_row + 1
    run_ends = np.cumsum(edges.per_row - 1)
    text, text_ends = _run_text(lengths_um, run_ends, raster.s)
    for number, row in enumerate(rows):
        runs = slice(run_ends[number - 1] if number else 0, run_ends[number])
        letters = slice(text_ends[number - 1] if number else 0, text_ends[number])
        run_up_um = raster.run_up_um if forward[number] else -raster.run_up_um
        yield RowOfDots(
            row=int(row),
            run_up_um=run_up_um,
            start_um=int(edges.at_um[first[number]]) - run_up_um,
            end_um=int(edges.at_um[last[number]]) + run_up_um,
            runs=text[letters],
            run_lengths_um=lengths_um[runs],
        )


def _run_text(lengths_um: Places, run_ends: Places, s: int) -> tuple[bytes, Places]:
    """Return the runs as G-code lines, and where in it each row ends.

    Every distinct line stands once in a table padded with NULs; taking rows of the table and
    dropping the NULs writes some ten million lines a second.
    """
    starts = np.append(0, run_ends[:-1])
    place_in_row = np.arange(len(lengths_um)) - np.repeat(starts, np.diff(run_ends, prepend=0))
    is_burnt = place_in_row % 2 == 0
    least = int(lengths_um.min())
    codes = (lengths_um - least) * 2 + is_burnt
    used = np.flatnonzero(np.bincount(codes))
    lines = [b"X%sS%d\n" % (mm_text(int(code) // 2 + least), s if code % 2 else 0) for code in used]
    slots = np.zeros(int(used[-1]) + 1, dtype=np.intp)
    slots[used] = np.arange(len(used))
    line_numbers = slots[codes]
    table = np.array(lines)
    letters = table.view(np.uint8).reshape(len(lines), -1)[line_numbers]
    sizes = np.array([len(line) for line in lines])[line_numbers]
    return letters[letters != 0].tobytes(), np.cumsum(sizes)[run_ends - 1]


@lru_cache(maxsize=_KEPT_WORDS)
def mm_text(um: int) -> bytes:
    """Return micrometres as millimetres in the fewest characters: 2500 is 2.5, -100 is -.1."""
    whole, part = divmod(abs(um), UM_PER_MM)
    digits = f"{whole or ''}.{part:03d}".rstrip("0").rstrip(".") or "0"
    return (f"-{digits}" if um < 0 else digits).encode("ascii")


def short_text(value: float) -> str:
    """Return a figure to a thousandth in the fewest characters: 4000, 0.5."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


@lru_cache(maxsize=_KEPT_WORDS)
def feed_text(feed_mm_per_min: float) -> bytes:
    """Return a speed as its word, in the fewest characters: F4000."""
    return f"F{short_text(feed_mm_per_min)}".encode("ascii")
