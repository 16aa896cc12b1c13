"""How long moves really take: a look-ahead planner of N blocks with limited acceleration.

At every moment the head must be able to stop at the end of what the controller's planner
holds. While block i runs the planner holds it and the N - 1 blocks after it, so the speed at
which i may be left is the least, over those N - 1 blocks, of the speed from which each
junction's own limit can still be met, and of the speed from which the last one ends at rest.
Squared speeds change by 2as over a block, so with P as the running sum of 2as

    exit²(i) = min( min over the next N - 1 blocks j of  limit²(j) + P(j) ,  P(i + N) ) - P(i + 1)

and speeding up from one block to the next is one running minimum of exit² - P. Both are done
on whole arrays. Elementary mechanics; the N - 1 was measured on the firmware.
"""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from etchpath.machine import SECONDS_PER_MINUTE, Machine

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_STRAIGHT_COSINE: Final = 0.999999  # the firmware takes anything nearer for straight on or back
_SPEED_FLOOR: Final = 1e-9  # mm/s; keeps a division by a block's speed finite


@dataclass(frozen=True, slots=True)
class Moves:
    """Straight moves in order, as arrays of equal length; none may have length zero.

    `feed_mm_per_s` is the speed commanded, infinite for a rapid; `stops_before` is true where
    the head comes to rest first: a dwell, a change of M word, a pause.
    """

    dx_mm: Floats
    dy_mm: Floats
    feed_mm_per_s: Floats
    stops_before: Flags

    @classmethod
    def none(cls) -> Self:
        """Return no moves at all."""
        return cls(np.empty(0), np.empty(0), np.empty(0), np.empty(0, dtype=bool))


@dataclass(frozen=True, slots=True)
class Travel:
    """What the moves that have been worked out so far really do, in the order they were given."""

    seconds: Floats
    length_mm: Floats
    entry_mm_per_s: Floats
    peak_mm_per_s: Floats
    exit_mm_per_s: Floats


@dataclass(frozen=True, slots=True)
class _Blocks:
    """Moves with the limits that follow from direction: what the planner works on."""

    length: Floats
    acceleration: Floats
    limit: Floats  # mm/s along the block
    junction_sq: Floats  # the most that speed² may be where the block begins

    def after(self, count: int) -> "_Blocks":
        return _Blocks(*(getattr(self, name)[count:] for name in self.__slots__))

    def joined(self, more: "_Blocks") -> "_Blocks":
        pairs = ((getattr(self, name), getattr(more, name)) for name in self.__slots__)
        return _Blocks(*(np.concatenate(pair) for pair in pairs))


class Planner:
    """Works moves out as they come, holding back the last N - 1 until their followers are known."""

    def __init__(self, machine: Machine) -> None:
        """Begin at rest on `machine`."""
        self._machine = machine
        self._held = _Blocks(*(np.empty(0) for _ in _Blocks.__slots__))
        self._entry_sq = 0.0
        self._before: tuple[float, float, float] | None = None  # direction and limit of the last

    def add(self, moves: Moves) -> Travel:
        """Take `moves`; return those, from earlier calls too, whose course is now settled."""
        if len(moves.dx_mm):
            self._held = self._held.joined(self._blocks(moves))
        settled = len(self._held.length) - self._machine.planner_blocks + 1
        return self._run(max(0, settled), is_last=False)

    def finish(self) -> Travel:
        """Return what is left, ending at rest; the next move starts from rest."""
        travel = self._run(len(self._held.length), is_last=True)
        self._before = None
        return travel

    def _blocks(self, moves: Moves) -> _Blocks:
        length = np.hypot(moves.dx_mm, moves.dy_mm)
        ux, uy = moves.dx_mm / length, moves.dy_mm / length
        machine = self._machine
        reach_x = machine.max_feed_x_mm_per_min / SECONDS_PER_MINUTE
        reach_y = machine.max_feed_y_mm_per_min / SECONDS_PER_MINUTE
        limit = np.minimum(moves.feed_mm_per_s, _along(ux, uy, reach_x, reach_y))
        limit = np.maximum(limit, _SPEED_FLOOR)
        acceleration = self._acceleration(ux, uy)
        x0, y0, limit0 = self._before or (float(ux[0]), float(uy[0]), 0.0)
        self._before = (float(ux[-1]), float(uy[-1]), float(limit[-1]))
        before = (np.append(x0, ux[:-1]), np.append(y0, uy[:-1]), np.append(limit0, limit[:-1]))
        junction_sq = np.minimum(self._corner_sq(before[0], before[1], ux, uy), limit**2)
        junction_sq = np.minimum(junction_sq, before[2] ** 2)
        junction_sq[moves.stops_before] = 0.0
        return _Blocks(length, acceleration, limit, junction_sq)

    def _acceleration(self, ux: Floats, uy: Floats) -> Floats:
        machine = self._machine
        return _along(ux, uy, machine.acceleration_x_mm_per_s2, machine.acceleration_y_mm_per_s2)

    def _corner_sq(self, x0: Floats, y0: Floats, x1: Floats, y1: Floats) -> Floats:
        """Speed² through a corner: a circle that passes the corner at the junction deviation.

        Its acceleration is taken along the difference of the two directions.
        """
        cosine = x0 * x1 + y0 * y1
        limit = np.where(cosine > 0, np.inf, 0.0)
        bent = np.abs(cosine) < _STRAIGHT_COSINE
        if not bent.any():
            return limit
        turn_x, turn_y = (x1 - x0)[bent], (y1 - y0)[bent]
        size = np.hypot(turn_x, turn_y)
        half_sine = np.sqrt(0.5 * (1 + cosine[bent]))
        radius = self._machine.junction_deviation_mm * half_sine / (1 - half_sine)
        limit[bent] = self._acceleration(turn_x / size, turn_y / size) * radius
        return limit

    def _run(self, count: int, *, is_last: bool) -> Travel:
        blocks = self._held
        if count == 0:
            return Travel(*(np.empty(0) for _ in Travel.__slots__))
        exit_sq = _exit_sq(blocks, self._entry_sq, count, self._machine.planner_blocks)
        entry_sq = np.append(self._entry_sq, exit_sq[:-1])
        self._held = blocks.after(count)
        self._entry_sq = 0.0 if is_last else float(exit_sq[-1])
        return _travel(blocks, entry_sq, exit_sq)


def _along(ux: Floats, uy: Floats, limit_x: float, limit_y: float) -> Floats:
    """Return how much along the direction (ux, uy) keeps each axis within its own limit."""
    with np.errstate(divide="ignore"):
        along: Floats = np.minimum(limit_x / np.abs(ux), limit_y / np.abs(uy))
    return along


def _exit_sq(blocks: _Blocks, entry_sq: float, count: int, planner_blocks: int) -> Floats:
    """Return speed² at the end of the first `count` blocks; all after the last are at rest."""
    gain = np.append(0.0, np.cumsum(2 * blocks.acceleration * blocks.length))
    rest = np.full(planner_blocks, gain[-1])
    limits = np.concatenate((blocks.junction_sq[1:] + gain[1:-1], rest))
    stop = np.concatenate((gain, rest))[planner_blocks : planner_blocks + count]
    allowed = np.minimum(_least_of_next(limits, planner_blocks - 1)[:count], stop)
    ends = gain[1 : count + 1]
    reached = np.append(entry_sq, allowed - 2 * ends)
    exit_sq: Floats = np.minimum.accumulate(reached)[1:] + ends
    return np.maximum(exit_sq, 0.0, out=exit_sq)


def _least_of_next(values: Floats, width: int) -> Floats:
    """Return for each place the least of the `width` values from there on, by doubling."""
    if width < 1:
        return np.full(len(values), np.inf)
    least, reach = values, 1
    while reach * 2 <= width:
        least = np.minimum(least[:-reach], least[reach:])
        reach *= 2
    over = width - reach
    return least if over == 0 else np.minimum(least[:-over], least[over:])


def _travel(blocks: _Blocks, entry_sq: Floats, exit_sq: Floats) -> Travel:
    """Time each block as a ramp up, a level stretch and a ramp down."""
    count = len(exit_sq)
    length, acceleration = blocks.length[:count], blocks.acceleration[:count]
    limit = blocks.limit[:count]
    meeting_sq = (entry_sq + exit_sq) / 2 + acceleration * length
    peak = np.minimum(limit, np.sqrt(meeting_sq))
    entry, leaving = np.sqrt(entry_sq), np.sqrt(exit_sq)
    level = np.maximum(length - (2 * peak**2 - entry_sq - exit_sq) / (2 * acceleration), 0.0)
    seconds = (2 * peak - entry - leaving) / acceleration + level / peak
    return Travel(seconds, length, entry, peak, leaving)
