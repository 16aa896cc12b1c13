"""The darkness of a dot from the nine dots it is the middle of, by table.

A code is nine bits: bit 3 (dy + 1) + dx + 1 says whether the dot dy rows below and dx columns to
the right is burnt. What lies further off adds light as well: how much, on average, follows from
the share burnt around, so there is a part of the table for each of LEVELS shares.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.dots.rendering import SAMPLES, Bits, Law, exposures, kernels
from etchphoto.halftone import FLOYD_STEINBERG, diffuse
from etchwire.catalogue.dot import Dot

CODES: Final = 512
OUTSIDE: Final = CODES  # a code off the picture: as bare as wanted, whatever lies beside it
LEVEL: Final = 2 * CODES
LEVELS: Final = 9
_TINT_DOTS: Final = 48
_TINT_EDGE: Final = 12  # where a tint has not settled, or light is missing from beyond it
_SURROUNDINGS: Final = 48
_BITS: Final = np.arange(9)

Table = NDArray[np.float32]
Codes = NDArray[np.int32]
Floats = NDArray[np.floating[Any]]


def code_bit(dy: int, dx: int) -> int:
    """Return the bit of a code that stands for the dot so far below and to the right."""
    return int(1 << (3 * (dy + 1) + dx + 1))


def codes_of(bits: Bits) -> Codes:
    """Return the code of each dot, with nothing burnt beyond the edges."""
    rows, columns = bits.shape
    padded = np.pad(bits, 1).astype(np.int32)
    codes = np.zeros((rows, columns), dtype=np.int32)
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            codes += padded[1 + dy : rows + 1 + dy, 1 + dx : columns + 1 + dx] * code_bit(dy, dx)
    return codes


@lru_cache(maxsize=4)
def darkness_tables(dot: Dot) -> tuple[Table, ...]:
    """Return the mean darkness by LEVEL × level + code, and on an uneven coat how far it goes off.

    Codes that are OUTSIDE have 0. The surroundings of a level are those in an even tint. Tables are
    kept for the tiles of a mural, and not to be written to.
    """
    law = Law(dot)
    kinds = (law.on_average, law.give_or_take) if dot.unevenness else (law.on_average,)
    exposure = _exposures(dot)
    return tuple(_table(exposure, kind) for kind in kinds)


def _table(exposure: list[Floats], darkness: Callable[[Floats], Floats]) -> Table:
    table = np.zeros((LEVELS, LEVEL), dtype=np.float32)
    for level, at_level in enumerate(exposure):
        table[level, :CODES] = darkness(at_level).mean(axis=(1, 2))
    flat = table.ravel()
    flat.setflags(write=False)
    return flat


def _exposures(dot: Dot) -> list[Floats]:
    """Return by level what the middle dots get: shape (codes, surroundings, places)."""
    along, across = kernels(dot.spread_dots)
    middle = along.shape[1] // 2
    near = slice(middle - 1, middle + 2)
    adds = np.einsum("ya,xb->yxab", across[:, near], along[:, near]).reshape(SAMPLES**2, 9)
    inner = _patterns(np.arange(CODES)) @ adds.T
    return [
        inner[:, np.newaxis, :] + _surroundings(dot.spread_dots, level / (LEVELS - 1), adds)
        for level in range(LEVELS)
    ]


def _surroundings(spread_dots: float, share: float, adds: Floats) -> Floats:
    """Return what dots of a tint get from beyond their nine: shape (surroundings, places)."""
    random = np.random.default_rng(0)
    shape = _TINT_DOTS, _TINT_DOTS
    bits = diffuse(share + random.uniform(-0.01, 0.01, shape), FLOYD_STEINBERG)
    whole = np.stack(exposures(bits, spread_dots), axis=-1)
    beyond = np.maximum(whole - _patterns(codes_of(bits)) @ adds.T, 0)
    settled = beyond[_TINT_EDGE:-_TINT_EDGE, _TINT_EDGE:-_TINT_EDGE].reshape(-1, SAMPLES**2)
    return np.asarray(settled[random.permutation(len(settled))[:_SURROUNDINGS]])


def _patterns(codes: NDArray[np.integer[Any]]) -> NDArray[np.float32]:
    """Return the nine bits of each code along a last axis."""
    return ((codes[..., np.newaxis] >> _BITS) & 1).astype(np.float32)
