"""Arcs as the controller draws them: centre, sweep, and the chords it cuts them into.

The firmware turns an arc into chords that leave it by no more than the arc tolerance, each a
block of its own to the planner. The rules for arcs that do not close are the firmware's, from
memory; RS-274/NGC (NISTIR 6556, 3.5.3) allows 0.002 mm and no more.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Columns, Counts, Flags, Floats

CLOCKWISE: Final = 2
_FULL_TURN_WITHIN: Final = 5e-7  # rad; nearer than this to no turn at all is a whole turn
_CLOSES_WITHIN_MM: Final = 0.005
_NEVER_CLOSES_MM: Final = 0.5
_CLOSES_WITHIN_RATIO: Final = 0.001
MOST_CHORDS: Final = 2000  # a full circle of 400 mm has 700; keeps absurd radii affordable


@dataclass(frozen=True, slots=True)
class Arcs(Columns):
    """Arcs as arrays: from where, to where, the vector to the centre, and the turn in radians.

    `turn` is negative clockwise. `is_open` marks those whose ends lie on different circles,
    `is_too_small` those given by a radius too short for their ends.
    """

    start_x: Floats
    start_y: Floats
    dx: Floats
    dy: Floats
    i: Floats
    j: Floats
    turn: Floats
    is_open: Flags
    is_too_small: Flags

    @property
    def radius(self) -> Floats:
        """The radius at the start, which is the one the controller draws with."""
        return np.hypot(self.i, self.j)


@dataclass(frozen=True, slots=True)
class ArcWords:
    """Arcs as a file gives them: motion 2 or 3, the way to the end, and I and J, or R.

    What is not given is not a number.
    """

    motion: NDArray[np.int16]
    dx: Floats
    dy: Floats
    i: Floats
    j: Floats
    r: Floats


def solve(words: ArcWords, start_x: Floats, start_y: Floats) -> Arcs:
    """Find centre and turn of each arc."""
    by_radius = ~np.isnan(words.r)
    radius_i, radius_j, is_too_small = _centre_from_radius(words)
    i = np.where(by_radius, radius_i, np.nan_to_num(words.i))
    j = np.where(by_radius, radius_j, np.nan_to_num(words.j))
    end_x, end_y = words.dx - i, words.dy - j  # from the centre to the end
    error = np.abs(np.hypot(end_x, end_y) - np.hypot(i, j))
    is_open = (error > _CLOSES_WITHIN_MM) & (
        (error > _NEVER_CLOSES_MM) | (error > _CLOSES_WITHIN_RATIO * np.hypot(i, j))
    )
    turn = np.arctan2(-i * end_y + j * end_x, -i * end_x - j * end_y)
    is_clockwise = words.motion == CLOCKWISE
    turn = np.where(is_clockwise & (turn >= -_FULL_TURN_WITHIN), turn - 2 * np.pi, turn)
    turn = np.where(~is_clockwise & (turn <= _FULL_TURN_WITHIN), turn + 2 * np.pi, turn)
    return Arcs(
        start_x=start_x,
        start_y=start_y,
        dx=words.dx,
        dy=words.dy,
        i=i,
        j=j,
        turn=turn,
        is_open=is_open & ~by_radius,
        is_too_small=by_radius & is_too_small,
    )


def _centre_from_radius(words: ArcWords) -> tuple[Floats, Floats, Flags]:
    """Return the centre |R| from both ends, on the side that G2 or G3 and the sign of R say."""
    chord = np.hypot(words.dx, words.dy)
    apothem_sq = words.r**2 - chord**2 / 4
    is_too_small = (apothem_sq < -1e-9) | (chord == 0)
    side = np.where((words.motion == CLOCKWISE) == (words.r > 0), -1.0, 1.0)
    ratio = side * np.sqrt(np.maximum(apothem_sq, 0)) / np.where(chord == 0, 1, chord)
    return words.dx / 2 - ratio * words.dy, words.dy / 2 + ratio * words.dx, is_too_small


def chord_counts(arcs: Arcs, tolerance_mm: float) -> Counts:
    """Return how many chords the controller cuts each arc into, one at least."""
    radius = arcs.radius
    chord = 2 * np.sqrt(np.maximum(tolerance_mm * (2 * radius - tolerance_mm), 1e-12))
    counts = np.floor(np.abs(arcs.turn) * radius / chord)
    whole: Counts = np.clip(np.nan_to_num(counts), 1, MOST_CHORDS).astype(np.int64)
    return whole


def chord_ends(arcs: Arcs, counts: Counts) -> tuple[Floats, Floats]:
    """Return where every chord ends, arc after arc; the last ends where the arc was told to."""
    arc = np.repeat(np.arange(len(counts)), counts)
    lasts = np.cumsum(counts) - 1
    step = np.arange(len(arc)) - np.repeat(lasts - counts, counts)
    angle = arcs.turn[arc] * step / counts[arc]
    cosine, sine = np.cos(angle), np.sin(angle)
    i, j = arcs.i[arc], arcs.j[arc]
    x = arcs.start_x[arc] + i - i * cosine + j * sine
    y = arcs.start_y[arc] + j - i * sine - j * cosine
    x[lasts] = arcs.start_x + arcs.dx
    y[lasts] = arcs.start_y + arcs.dy
    return x, y
