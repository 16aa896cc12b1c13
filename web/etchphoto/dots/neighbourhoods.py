"""The darkness of a dot from what is burnt of it and around it, by table.

A code tells the dot's row, the row above and the row below, each from one dot before to one dot
after, in halves of dots: bit 6 (dy + 1) + half + 2 says whether the half burns that lies dy rows
below and so many halves to the right of the dot's own left one. What lies further off adds light as
well: how much, on average, follows from the share burnt around, so there is a part of the table for
each of LEVELS shares.

No run, burnt or bare, is shorter than two halves: it lasts as long as a dot at least, as without
halves, and pulses of light and a controller's lines follow it as well. Other codes do not occur.
"""

from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits, in_parts, parts_of
from etchphoto.dots.rendering import Law, exposures, kernels
from etchphoto.halftone import FLOYD_STEINBERG, diffuse
from etchwire.catalogue.dot import Dot

HALVES: Final = 2  # in how many parts a dot is given
BEFORE: Final = 2  # halves of a code before a dot's left one
AFTER: Final = 3  # and after it
_IN_ROW: Final = BEFORE + 1 + AFTER
CODES: Final = 2 ** (3 * _IN_ROW)
OUTSIDE: Final = CODES  # a code off the picture: as bare as wanted, whatever lies beside it
LEVEL: Final = 2 * CODES
LEVELS: Final = 5
_NEVER: Final = 100.0
_TINT_DOTS: Final = 48
_TINT_EDGE: Final = 12  # where a tint has not settled, or light is missing from beyond it
_SURROUNDINGS: Final = 48
_STEPS: Final = 512  # of exposure, between which darkness is taken to go straight

Table = NDArray[np.complex64]
Codes = NDArray[np.int32]
Floats = NDArray[np.floating[Any]]


def code_bit(dy: int, half: int) -> int:
    """Return the bit of a code for the half so far below and to the right; 0 beyond its reach."""
    is_near = abs(dy) <= 1 and -BEFORE <= half <= AFTER
    return int(1 << (_IN_ROW * (dy + 1) + half + BEFORE)) if is_near else 0


def codes_of(bits: Bits) -> Codes:
    """Return the code of each dot of `bits` (rows, columns, HALVES), nothing burnt beyond them."""
    rows, columns, _ = bits.shape
    padded = np.pad(parts_of(bits), ((1, 1), (BEFORE, AFTER - 1))).astype(np.int32)
    codes = np.zeros((rows, columns), dtype=np.int32)
    for dy in (-1, 0, 1):
        for half in range(-BEFORE, AFTER + 1):
            first = half + BEFORE
            near = padded[1 + dy : rows + 1 + dy, first : first + HALVES * columns : HALVES]
            codes += near * code_bit(dy, half)
    return codes


def burnt_of(codes: Codes) -> Bits:
    """Return what burns of the dots of these codes: another last axis of HALVES."""
    return np.stack([codes & code_bit(0, half) != 0 for half in range(HALVES)], axis=-1)


@cache
def occurring_codes() -> Codes:
    """Return the codes in which no run is seen to be shorter than two halves."""
    rows = np.arange(2**_IN_ROW)
    switches = _switches(rows)
    rows = rows[~(switches[:, 1:] & switches[:, :-1]).any(axis=1)]
    above, same, below = np.meshgrid(rows, rows << _IN_ROW, rows << 2 * _IN_ROW)
    return np.asarray((above + same + below).ravel(), dtype=np.int32)


def switches_of(codes: NDArray[np.integer[Any]]) -> NDArray[np.intp]:
    """Return how often the beam goes on or off within the three rows of each code."""
    in_row = _switches(np.arange(2**_IN_ROW)).sum(axis=1)
    rows = [codes >> _IN_ROW * row & 2**_IN_ROW - 1 for row in range(3)]
    return np.asarray(in_row[rows].sum(axis=0))


def _switches(rows: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return between which halves of these rows of a code there is a switch."""
    burnt = rows[:, np.newaxis] >> np.arange(_IN_ROW) & 1
    return np.asarray(burnt[:, 1:] != burnt[:, :-1])


@lru_cache(maxsize=4)
def darkness_table(dot: Dot) -> Table:
    """Return by LEVEL × level + code the mean darkness, and how far an uneven coat goes off it.

    That is the imaginary part: by how much its better and worse places differ from the mean.
    Codes that are OUTSIDE have 0, and those that do not occur a darkness that nobody can want. The
    surroundings of a level are those in an even tint. A table is kept for the tiles of a mural, and
    not to be written to.
    """
    law, places = Law(dot), _places(dot.spread_dots)
    table = np.zeros((LEVELS, LEVEL), dtype=np.complex64)
    table[:, :CODES] = _NEVER
    steps = np.linspace(0, max(place.most for place in places), _STEPS)
    codes = occurring_codes()
    added = [place.added(codes) for place in places]
    for level, at_level in enumerate(table):
        surroundings = _surroundings(dot.spread_dots, level / (LEVELS - 1), places)
        at_level[codes] = sum(
            np.interp(one, steps, _darkness(law, steps[:, np.newaxis] + beyond))
            for one, beyond in zip(added, surroundings, strict=True)
        ) / len(places)
    flat = table.ravel()
    flat.setflags(write=False)
    return flat


def _darkness(law: Law, exposure: Floats) -> NDArray[np.complex128]:
    favoured, hindered = law.at_either_end(exposure)
    mean, off = (favoured + hindered) / 2, (favoured - hindered) / 2
    return np.asarray(mean.mean(axis=1) + 1j * off.mean(axis=1))


@dataclass(frozen=True, slots=True)
class _Place:
    """A place of a dot: what its rows add there, shape (3,), by halves of a row, shape (6,)."""

    across: Floats
    along: Floats

    @property
    def most(self) -> float:
        """What a code adds of which all burns."""
        return float(self.across.sum() * self.along.sum())

    def added(self, codes: Codes) -> Floats:
        """Return what codes add, in their shape."""
        halves = (codes[..., np.newaxis] >> np.arange(3 * _IN_ROW)) & 1
        return np.asarray(halves @ np.outer(self.across, self.along).ravel())


def _places(spread_dots: float) -> list[_Place]:
    """Return the places, in the order of `exposures`, those of the left half first."""
    along, across = kernels(spread_dots, HALVES)
    padded = np.pad(along, ((0, 0), (_IN_ROW, _IN_ROW)))
    middle, left = across.shape[1] // 2, padded.shape[1] // 2 - BEFORE
    return [
        _Place(rows[middle - 1 : middle + 2], halves[left - half : left - half + _IN_ROW])
        for half in range(HALVES)
        for rows in across
        for halves in padded
    ]


def _surroundings(spread_dots: float, share: float, places: list[_Place]) -> Floats:
    """Return what dots of a tint get from beyond their codes: shape (places, surroundings)."""
    random = np.random.default_rng(0)
    shape = _TINT_DOTS, _TINT_DOTS
    bits = diffuse(share + random.uniform(-0.01, 0.01, shape), FLOYD_STEINBERG)
    halves = in_parts(bits, HALVES)
    codes = codes_of(halves)
    whole = list(exposures(parts_of(halves), spread_dots, HALVES))
    settled = slice(_TINT_EDGE, -_TINT_EDGE)
    beyond = np.stack([
        np.maximum(exposure[:, half::HALVES] - place.added(codes), 0)[settled, settled].ravel()
        for place, (half, exposure) in zip(places, product(range(HALVES), whole), strict=True)
    ])  # fmt: skip
    return beyond[:, random.permutation(beyond.shape[1])[:_SURROUNDINGS]]
