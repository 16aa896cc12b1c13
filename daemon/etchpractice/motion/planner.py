"""The blocks waiting to be run, and how fast each may be entered.

The last block queued must end at rest, so few and short blocks mean a slow head: with N blocks
of length d in line the one being run may end at sqrt(2 a d (N - 1)).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from etchpractice.firmware.settings import Settings

_UNLIMITED: Final = 1e9  # a straight line sets no limit of its own
_NEARLY_ONE: Final = 0.999999
_LEAST_FEED_MM_PER_S: Final = 1 / 60
AXES: Final = (0, 1, 2)

Place = tuple[float, float, float]
Steps = tuple[int, int, int]


class Beam(IntEnum):
    """How a block wants the beam: by the M word that asked for it."""

    OFF = 5
    CONSTANT = 3
    DYNAMIC = 4


@dataclass(slots=True)
class Order:
    """How a move is to be made: its speed and its beam."""

    feed_mm_per_s: float
    is_rapid: bool
    s: float
    beam: Beam
    is_jog: bool = False


class Block:
    """A straight move in whole steps."""

    __slots__ = (
        "acceleration", "beam", "end", "feed", "is_jog", "is_rapid", "junction2", "left_mm",
        "nominal", "rapid", "s", "unit",
    )  # fmt: skip

    def __init__(self, order: Order, end: Place, unit: Place, length_mm: float) -> None:
        self.end = end
        self.unit = unit
        self.left_mm = length_mm
        self.feed = order.feed_mm_per_s
        self.is_rapid = order.is_rapid
        self.is_jog = order.is_jog
        self.s = order.s
        self.beam = order.beam
        self.acceleration = 0.0
        self.rapid = 0.0
        self.nominal = 0.0
        self.junction2 = 0.0


class Planner:
    """The queue of blocks, in mm and seconds; what it holds is what the firmware's ring holds."""

    def __init__(self, settings: Settings, capacity: int) -> None:
        self.capacity = capacity
        self.blocks: list[Block] = []
        self.changes = 0  # counts whatever may alter the speed of the block being run
        self.feed_percent = 100
        self.rapid_percent = 100
        self.steps: Steps = (0, 0, 0)  # where the newest block ends
        self._settings = settings
        self._gains: list[float] = []  # 2 a d of each block, mm²/s²
        self._caps: list[float] = []  # square of the greatest entry speed of each block
        self._directions: dict[Place, tuple[float, float]] = {}
        self.take_settings()

    def take_settings(self) -> None:
        """Read the axes' figures anew."""
        settings = self._settings
        self.steps_per_mm = tuple(settings[100 + axis] for axis in AXES)
        self._rates = tuple(settings[110 + axis] / 60 for axis in AXES)
        self._accelerations = tuple(settings[120 + axis] for axis in AXES)
        self._deviation_mm = settings[11]
        self._directions.clear()

    def steps_at(self, place: Sequence[float]) -> Steps:
        """Return the whole steps nearest to `place`."""
        sx, sy, sz = self.steps_per_mm
        return (round(place[0] * sx), round(place[1] * sy), round(place[2] * sz))

    def place_at(self, steps: Steps) -> Place:
        """Return where `steps` are, in mm."""
        sx, sy, sz = self.steps_per_mm
        return (steps[0] / sx, steps[1] / sy, steps[2] / sz)

    def add(self, target: Sequence[float], order: Order) -> bool:
        """Queue a move to `target`, or return False as it is shorter than half a step."""
        steps = self.steps_at(target)
        before = self.steps
        if steps == before:
            return False
        sx, sy, sz = self.steps_per_mm
        dx, dy, dz = (
            (steps[0] - before[0]) / sx, (steps[1] - before[1]) / sy, (steps[2] - before[2]) / sz,
        )  # fmt: skip
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        block = Block(order, self.place_at(steps), (dx / length, dy / length, dz / length), length)
        self.steps = steps
        self._append(block)
        return True

    def _append(self, block: Block) -> None:
        block.acceleration, block.rapid = self._limits(block.unit)
        if block.is_rapid:
            block.feed = block.rapid
        blocks = self.blocks
        if blocks:
            last = blocks[-1]
            block.junction2 = (
                _UNLIMITED if last.unit == block.unit else self._junction2(last.unit, block.unit)
            )
        block.nominal = self._nominal(block)
        self._caps.append(self._cap(block, blocks[-1] if blocks else None))
        self._gains.append(2 * block.acceleration * block.left_mm)
        blocks.append(block)
        self.changes += 1

    def _limits(self, unit: Place) -> tuple[float, float]:
        limits = self._directions.get(unit)
        if limits is None:
            if len(self._directions) > 4096:
                self._directions.clear()
            used = [axis for axis in AXES if unit[axis]]
            limits = (
                min(self._accelerations[axis] / abs(unit[axis]) for axis in used),
                min(self._rates[axis] / abs(unit[axis]) for axis in used),
            )
            self._directions[unit] = limits
        return limits

    def _nominal(self, block: Block) -> float:
        if block.is_rapid:
            return block.rapid * self.rapid_percent / 100
        if block.is_jog:
            return max(min(block.feed, block.rapid), _LEAST_FEED_MM_PER_S)
        return max(min(block.feed * self.feed_percent / 100, block.rapid), _LEAST_FEED_MM_PER_S)

    def _junction2(self, before: Place, after: Place) -> float:
        """Return the square of the speed at which a corner of the set deviation is taken."""
        cosine = -sum(b * a for b, a in zip(before, after, strict=True))
        if cosine > _NEARLY_ONE:
            return 0.0  # straight back
        if cosine < -_NEARLY_ONE:
            return _UNLIMITED
        along = [a - b for b, a in zip(before, after, strict=True)]
        length = math.sqrt(sum(part * part for part in along))
        acceleration = min(
            self._accelerations[axis] * length / abs(along[axis]) for axis in AXES if along[axis]
        )
        half_sine = math.sqrt(0.5 * (1 - cosine))
        return acceleration * self._deviation_mm * half_sine / (1 - half_sine)

    @staticmethod
    def _cap(block: Block, before: Block | None) -> float:
        if before is None:
            return 0.0
        slower = min(block.nominal, before.nominal)
        return min(block.junction2, slower * slower)

    def exit_speed2(self) -> float:
        """Return the square of the greatest speed at which the first block may end."""
        speed2 = 0.0
        for at in range(len(self._caps) - 1, 0, -1):
            speed2 += self._gains[at]
            cap = self._caps[at]
            if speed2 > cap:  # noqa: PLR1730 - half the time of min(), and most of the planner's
                speed2 = cap
        return speed2

    @property
    def unsettled(self) -> int:
        """How many blocks at the end of the queue a new one lets be entered faster."""
        speed2, count = 0.0, 0
        for at in range(len(self._caps) - 1, 0, -1):
            speed2 += self._gains[at]
            if speed2 >= self._caps[at]:
                break
            count += 1
        return count

    def drop_first(self) -> None:
        """Forget the first block: it has been handed to the motors whole."""
        del self.blocks[0], self._gains[0], self._caps[0]

    def override(self, *, feed_percent: int, rapid_percent: int) -> None:
        """Set the overrides and what follows from them."""
        self.feed_percent, self.rapid_percent = feed_percent, rapid_percent
        before = None
        for at, block in enumerate(self.blocks):
            block.nominal = self._nominal(block)
            self._caps[at] = self._cap(block, before)
            before = block
        self.changes += 1

    def clear(self, place: Sequence[float]) -> None:
        """Forget every block; the head is at `place`."""
        self.blocks.clear()
        self._gains.clear()
        self._caps.clear()
        self.steps = self.steps_at(place)
        self.changes += 1
