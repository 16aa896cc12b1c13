"""How long moves really take: a look-ahead planner of N blocks with limited acceleration.

At every moment the head must be able to stop at the end of what the controller's planner
holds. While block i runs the planner holds it and the N - 1 blocks after it, so the speed at
which i may be left is the least, over those N - 1 blocks, of the speed from which each
junction's own limit can still be met, and of the speed from which the last one ends at rest.
Squared speeds change by 2as over a block, so with P as the running sum of 2as

    exit²(i) = min( min over all later blocks j of  limit²(j) + P(j) ,  P(i + N) ) - P(i + 1)

(a block that the planner does not hold yet sets no limit that its own end does not set), and
speeding up from one block to the next is one running minimum of exit² - P. Both are done on
whole arrays. Elementary mechanics; the N - 1 was measured on the firmware. What is left to
`line_intake` is a queue that the controller's processor cannot keep full.
"""

from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Columns, Flags, Floats
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.line_intake import SEGMENT_S, LineIntake, Path
from etchwire.controller.profile import DOT_WORDS

_STRAIGHT_COSINE: Final = 0.999999  # the firmware takes anything nearer for straight on or back
MOVES_AT_ONCE: Final = 40_000  # more need more memory, and are a little quicker
_SPEED_FLOOR: Final = 1e-9  # mm/s; keeps a division by a block's speed finite


@dataclass(frozen=True, slots=True)
class Moves:
    """Straight moves in order, as arrays of equal length; none may have length zero.

    `feed_mm_per_s` is the speed commanded, infinite for a rapid; `stops_before` is true where
    the head comes to rest first: a dwell, a change of M word, a pause. `words` counts those of
    each line; None where each is a dot's: place and power.
    """

    dx_mm: Floats
    dy_mm: Floats
    feed_mm_per_s: Floats
    stops_before: Flags
    words: NDArray[np.int16] | None = None

    @classmethod
    def none(cls) -> Self:
        """Return no moves at all."""
        return cls(np.empty(0), np.empty(0), np.empty(0), np.empty(0, dtype=bool))


@dataclass(frozen=True, slots=True)
class Travel(Columns):
    """What the moves that have been worked out so far really do, in the order they were given."""

    seconds: Floats
    length_mm: Floats
    entry_mm_per_s: Floats
    peak_mm_per_s: Floats
    exit_mm_per_s: Floats
    full_queue_s: Floats  # what each would take if lines came in as fast as it wants them

    @property
    def power_mm_per_s(self) -> Floats:
        """The speed that dynamic power follows, the mean of each move.

        The firmware sets power once for each stretch it prepares, to what the speed is at its end.
        """
        mean = self.length_mm / self.seconds
        last = np.minimum(SEGMENT_S / self.seconds, 1.0)
        power: Floats = mean + (self.exit_mm_per_s - mean) * last
        return power


@dataclass(frozen=True, slots=True)
class _Blocks(Columns):
    """Moves with the limits that follow from direction: what the planner works on."""

    length: Floats
    acceleration: Floats
    limit: Floats  # mm/s along the block
    junction_sq: Floats  # the most that speed² may be where the block begins
    steps: Floats  # of the axis that makes the most
    words_s: Floats  # that the controller takes longer to read it than a dot's line


class Planner:
    """Works moves out as they come, holding back the last N - 1 until their followers are known.

    Those settled last are held as well: what is left of them in the queue decides how the next
    ones run.
    """

    def __init__(self, machine: Machine) -> None:
        """Begin at rest on `machine`."""
        self._machine = machine
        self._intake = LineIntake(machine.costs, machine.planner_blocks)
        self._held = _Blocks.none()
        self._settled_sq = np.empty(0)  # speed² at the end of each block held that is settled
        self._before: tuple[float, float, float] | None = None  # direction and limit of the last

    def add(self, moves: Moves) -> Travel:
        """Take `moves`; return those, from earlier calls too, whose speeds are now settled.

        They are settled some tens of thousands at a time.
        """
        if len(moves.dx_mm):
            self._held = self._held.joined(self._blocks(moves))
        if len(self._held.length) < MOVES_AT_ONCE:
            return Travel.none()
        return self._run(len(self._held.length) - self._machine.planner_blocks + 1)

    def finish(self) -> Travel:
        """Return what is left, ending at rest; the next move starts from rest."""
        travel = self._run(len(self._held.length))
        self._held, self._settled_sq = self._held.part(slice(0)), np.empty(0)
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
        steps = np.maximum(np.abs(moves.dx_mm), np.abs(moves.dy_mm)) * machine.steps_per_mm
        words = np.full(len(length), DOT_WORDS) if moves.words is None else moves.words
        words_s: Floats = (words - DOT_WORDS) * np.float64(machine.costs.word_s)
        return _Blocks(length, acceleration, limit, junction_sq, steps, words_s)

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

    def _run(self, count: int) -> Travel:
        """Settle the first `count` blocks held, as far as they are not settled."""
        first = len(self._settled_sq)
        if count <= first:
            return Travel.none()
        travel = self._travel(first, count)
        kept = min(count, self._intake.run_in)
        self._held = self._held.part(slice(count - kept, None))
        self._settled_sq = np.append(self._settled_sq, travel.exit_mm_per_s**2)[count - kept :]
        return travel

    def _travel(self, first: int, count: int) -> Travel:
        """Return how blocks `first` to `count` run; all after the last one held are at rest."""
        blocks = self._held
        gain = np.append(0.0, np.cumsum(2 * blocks.acceleration * blocks.length))
        ahead = np.append(blocks.junction_sq + gain[:-1], np.inf)
        ahead = np.minimum.accumulate(ahead[::-1])[::-1]
        lasts = np.minimum(np.arange(first, count) + self._machine.planner_blocks, len(gain) - 1)
        ends = gain[first + 1 : count + 1]
        allowed = np.minimum(ahead[first + 1 : count + 1], gain[lasts]) - ends
        entry_sq = self._settled_sq[-1] if first else 0.0
        reached = np.append(entry_sq - gain[first], allowed - ends)
        exit_sq = np.maximum(np.minimum.accumulate(reached)[1:] + ends, 0.0)
        exits = np.append(self._settled_sq, exit_sq)
        settled = blocks.part(slice(count))
        full = _travel(settled, exits)
        path = Path(
            length=settled.length,
            acceleration=settled.acceleration,
            limit=settled.limit,
            steps=settled.steps,
            words_s=blocks.words_s,
            gain=gain,
            ahead=ahead,
            exit_sq=exits,
            seconds=full.seconds,
        )
        hurry = self._intake.hurried(path, first)
        if len(hurry.places) == 0:
            return full.part(slice(first, None))
        exits[hurry.places] = hurry.exit_sq
        travel = replace(_travel(settled, exits), full_queue_s=full.seconds)
        travel.seconds[hurry.places] += hurry.dry_s
        return travel.part(slice(first, None))


def planned(moves: Moves, machine: Machine) -> Travel:
    """Return how the head runs `moves`, from rest to rest."""
    planner = Planner(machine)
    parts = planner.add(moves), planner.finish()
    joined = (np.concatenate([getattr(part, name) for part in parts]) for name in Travel.__slots__)
    return Travel(*joined)


def _along(ux: Floats, uy: Floats, limit_x: float, limit_y: float) -> Floats:
    """Return how much along the direction (ux, uy) keeps each axis within its own limit."""
    with np.errstate(divide="ignore"):
        along: Floats = np.minimum(limit_x / np.abs(ux), limit_y / np.abs(uy))
    return along


def _travel(blocks: _Blocks, exit_sq: Floats) -> Travel:
    """Time each block, from rest on, as a ramp up, a level stretch and a ramp down."""
    length, acceleration, limit = blocks.length, blocks.acceleration, blocks.limit
    entry_sq = np.append(0.0, exit_sq[:-1])
    meeting_sq = (entry_sq + exit_sq) / 2 + acceleration * length
    peak = np.minimum(limit, np.sqrt(meeting_sq))
    entry, leaving = np.sqrt(entry_sq), np.sqrt(exit_sq)
    level = np.maximum(length - (2 * peak**2 - entry_sq - exit_sq) / (2 * acceleration), 0.0)
    seconds = (2 * peak - entry - leaving) / acceleration + level / peak
    return Travel(seconds, length, entry, peak, leaving, full_queue_s=seconds)
