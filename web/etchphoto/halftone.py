"""Halftone: from a share of area to be burnt at each place to dots that are burnt or not.

Error diffusion decides one pixel after the other, left to right and top to bottom, and passes
what it did wrong on to pixels not yet decided. Done pixel by pixel that is slow in Python, but
pixels (row, x) with the same x + 3 row do not depend on one another: they form a front, and a
front is a strided slice of the flat picture.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits

Coverage = NDArray[np.floating[Any]]

_STEP: Final = 3  # x between a front's pixels in neighbouring rows: no kernel reaches further back
_FRONTS_KEPT: Final = 8  # the oldest error asked for, read just before its place is taken
_REACH_ROWS: Final = 2
RUN_IN: Final = 24  # dots; after so many the pattern has settled
_NARROWEST: Final = 5  # columns; below it a front's stride and a kernel's reach collide


@dataclass(frozen=True, slots=True)
class Kernel:
    """How a pixel's error is shared among later pixels.

    Each tap is (rows down, columns right, weight); the shares are weight / divisor and sum to 1.
    """

    divisor: int
    taps: tuple[tuple[int, int, int], ...]


FLOYD_STEINBERG: Final = Kernel(  # R. W. Floyd, L. Steinberg, SID Digest 1975
    16, ((0, 1, 7), (1, -1, 3), (1, 0, 5), (1, 1, 1))
)
JARVIS: Final = Kernel(  # J. F. Jarvis, C. N. Judice, W. H. Ninke, CGIP 5, 1976
    48,
    (
        *((0, 1, 7), (0, 2, 5)),
        *((1, -2, 3), (1, -1, 5), (1, 0, 7), (1, 1, 5), (1, 2, 3)),
        *((2, -2, 1), (2, -1, 3), (2, 0, 5), (2, 1, 3), (2, 2, 1)),
    ),
)
STUCKI: Final = Kernel(  # P. Stucki, IBM Research Report RZ1060, 1981
    42,
    (
        *((0, 1, 8), (0, 2, 4)),
        *((1, -2, 2), (1, -1, 4), (1, 0, 8), (1, 1, 4), (1, 2, 2)),
        *((2, -2, 1), (2, -1, 2), (2, 0, 4), (2, 1, 2), (2, 2, 1)),
    ),
)


def threshold(coverage: Coverage) -> Bits:
    """Return True where at least half the area is to be burnt: for lettering and line art."""
    return np.asarray(coverage) >= 0.5


def diffuse(coverage: Coverage, kernel: Kernel) -> Bits:
    """Return the dots, True = burn, that error diffusion makes of `coverage` (rows, columns).

    The result equals, bit for bit, that of the plain loop in 64-bit floats which adds each
    error where it lands: the additions run in the same order. A third axis may count pictures of
    one size, each of which is diffused as if it were alone; together they take little longer.
    """
    if coverage.shape[1] < _NARROWEST:
        return _diffuse_pixel_by_pixel(coverage, kernel)
    return _diffuse_front_by_front(np.ascontiguousarray(coverage), kernel)


def _diffuse_pixel_by_pixel(coverage: Coverage, kernel: Kernel) -> Bits:
    rows, columns = coverage.shape[:2]
    values = coverage.astype(np.float64)
    bits = np.zeros(coverage.shape, dtype=np.bool_)
    for row, x in np.ndindex(rows, columns):
        bits[row, x] = values[row, x] >= 0.5
        error = values[row, x] - bits[row, x]
        for down, right, weight in kernel.taps:
            if row + down < rows and 0 <= x + right < columns:
                values[row + down, x + right] += error * (weight / kernel.divisor)
    return bits


def _diffuse_front_by_front(
    coverage: Coverage, kernel: Kernel, carried: Coverage | None = None
) -> Bits:
    """Return the dots of `coverage`; its last rows, as many as `carried` has, stay undecided.

    For those `carried` takes the coverage and the errors that reach them from above.
    """
    rows, columns, *pictures = coverage.shape
    decided = rows if carried is None else rows - len(carried)
    stride = columns - _STEP
    wanted = coverage.reshape(rows * columns, *pictures)
    bits = np.zeros(wanted.shape, dtype=np.bool_)
    weights = sorted({weight for _, _, weight in kernel.taps})
    shares = [weight / kernel.divisor for weight in weights]
    arrivals = _arrivals(kernel, weights)
    # errors[front % kept][weight][row + reach]: what a pixel of that front passes on
    errors = np.zeros((_FRONTS_KEPT, len(weights), rows + _REACH_ROWS, *pictures))
    slots = [[errors[slot, share] for share in range(len(weights))] for slot in range(_FRONTS_KEPT)]
    sums = np.empty((rows, *pictures))

    for front in range(columns + _STEP * (rows - 1)):
        first = max(0, -((columns - 1 - front) // _STEP))
        last = min(rows - 1, front // _STEP)
        pixels = slice(front + first * stride, front + last * stride + 1, stride)
        begin, end = first + _REACH_ROWS, last + 1 + _REACH_ROWS
        value = sums[: last + 1 - first]
        value[:] = wanted[pixels]
        for delay, share, down in arrivals:
            value += slots[(front - delay) % _FRONTS_KEPT][share][begin - down : end - down]
        if carried is not None and last >= decided:
            undecided = np.arange(max(first, decided), last + 1)
            carried[undecided - decided, front - _STEP * undecided] = value[undecided - first]
            value[undecided - first] = 0  # neither burnt nor passing anything on
        burnt = value >= 0.5
        bits[pixels] = burnt
        value -= burnt
        slot = front % _FRONTS_KEPT
        # Rows that left the picture since this slot was last used must pass nothing on.
        errors[slot, :, max(0, begin - _STEP) : begin] = 0
        for passed_on, share_of_error in zip(slots[slot], shares, strict=True):
            np.multiply(value, share_of_error, out=passed_on[begin:end])
    return bits.reshape(coverage.shape)


def _arrivals(kernel: Kernel, weights: list[int]) -> list[tuple[int, int, int]]:
    """Return (fronts ago, index of weight, rows up) of each error a pixel gets, in its order.

    A pixel hears from the rows above first, and within a row from left to right.
    """
    in_order = sorted(kernel.taps, key=lambda tap: (-tap[0], -tap[1]))
    return [(right + _STEP * down, weights.index(weight), down) for down, right, weight in in_order]


def diffuse_evenly(coverage: Coverage, kernel: Kernel) -> Bits:
    """Return the dots as `diffuse` does, but run in on a mirrored margin that is cut off again.

    Started cold, error diffusion has no error to pass on yet: the first rows of a dark sky come
    out black and those of a bright one empty, as a line along the tile's edge.
    """
    rows, columns = coverage.shape
    top, side = min(RUN_IN, rows), min(RUN_IN, columns)
    bits = diffuse(np.pad(coverage, ((top, 0), (side, side)), mode="symmetric"), kernel)
    return np.ascontiguousarray(bits[top:, side : side + columns])


def diffuse_bands(bands: Iterable[Coverage], kernel: Kernel) -> Iterator[Bits]:
    """Yield the dots of a picture that comes in bands of rows, from the top, in bands of its own.

    Together they are, bit for bit, those that `diffuse_evenly` makes of the whole picture, where
    the first band has RUN_IN rows or more; only about one band is held at a time.
    """
    pending: Coverage | None = None  # the rows that wait for errors from above
    top = side = columns = 0
    for band in bands:
        if pending is None:
            columns = band.shape[1]
            top, side = min(RUN_IN, len(band)), min(RUN_IN, columns)
            pending = np.zeros((0, columns + 2 * side))
        padded = np.pad(band, ((0, 0), (side, side)), mode="symmetric")
        if top:
            padded = np.pad(padded, ((top, 0), (0, 0)), mode="symmetric")
        waiting = np.concatenate((pending, padded))
        del padded
        pending = np.zeros((min(_REACH_ROWS, len(waiting)), waiting.shape[1]))
        decided = slice(top, len(waiting) - len(pending))
        bits = _diffuse_front_by_front(waiting, kernel, pending)[decided, side : side + columns]
        del band, waiting  # while the next one is fetched
        yield np.ascontiguousarray(bits)
        top = 0
    if pending is not None:
        yield _diffuse_front_by_front(pending, kernel)[:, side : side + columns]


KERNELS: Final[Mapping[str, Kernel]] = {
    "floyd-steinberg": FLOYD_STEINBERG,
    "jarvis": JARVIS,
    "stucki": STUCKI,
}
HALFTONES: Final[Mapping[str, Callable[[Coverage], Bits]]] = {
    **{name: partial(diffuse_evenly, kernel=kernel) for name, kernel in KERNELS.items()},
    "threshold": threshold,
}
