"""What the beam does in sum: how long, how far, how fast against what was asked, how strong."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from etchpath.arrays import Floats
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.planner import planned
from etchpath.motion.timeline import Timed
from etchpath.motion.toolpath import Toolpath
from etchwire.transport.json_text import JsonTable

_SPEED_CLASSES: Final = 4096
_FREE_PIECES: Final = 16_384  # so many in every
_FREE_EVERY: Final = 8 * _FREE_PIECES  # so many show how fast a long file could be run
_USEFUL_SHARE: Final = 0.99  # a feed that only a hundredth of the time could use gains nothing
_AT_SPEED_WITHIN: Final = 0.005  # of the feed asked for; reports give whole mm/min


@dataclass(slots=True)
class Box:
    """A rectangle that grows, millimetres."""

    left_mm: float = np.inf
    bottom_mm: float = np.inf
    right_mm: float = -np.inf
    top_mm: float = -np.inf

    def take_in(self, x_mm: Floats, y_mm: Floats) -> None:
        """Grow over these places."""
        if len(x_mm) == 0:
            return
        self.left_mm = min(self.left_mm, float(x_mm.min()))
        self.right_mm = max(self.right_mm, float(x_mm.max()))
        self.bottom_mm = min(self.bottom_mm, float(y_mm.min()))
        self.top_mm = max(self.top_mm, float(y_mm.max()))

    def to_table(self) -> dict[str, float] | None:
        """Return the four sides to the micrometre, or None for nothing at all."""
        if self.left_mm > self.right_mm:
            return None
        return {name: round(getattr(self, name), 3) for name in self.__slots__}


class BeamTotals:
    """Sums over all pieces with the beam on; speeds are weighted by the time they last."""

    def __init__(self, machine: Machine) -> None:
        """Know nothing yet."""
        self._machine = machine
        fastest = np.hypot(machine.max_feed_x_mm_per_min, machine.max_feed_y_mm_per_min)
        self._class_mm_per_s = float(fastest) / SECONDS_PER_MINUTE / (_SPEED_CLASSES - 1)
        self._seconds_in_class = np.zeros(_SPEED_CLASSES)
        self._pieces = 0
        self._to_run_freely: list[Toolpath] = []
        self.seconds = 0.0
        self.length_mm = 0.0
        self.asked_s = 0.0  # how long it would have lasted at the feed asked for
        self.at_speed_s = 0.0
        self.full_power_s = 0.0  # seconds at full power that would give the same energy
        self._free_seconds_in_class = np.zeros(_SPEED_CLASSES)
        self.burnt = Box()

    def plan_freely(self, toolpath: Toolpath) -> None:
        """Run an eighth of the way once more without feeds, to see how fast it could be run."""
        if self._pieces % _FREE_EVERY < _FREE_PIECES:
            self._to_run_freely.append(toolpath)
        elif self._to_run_freely:
            self.finish()
        self._pieces += len(toolpath)

    def finish(self) -> None:
        """Take in what was kept for a free run."""
        for toolpath in self._to_run_freely[1:]:
            self._to_run_freely[0] = self._to_run_freely[0].joined(toolpath)
        for toolpath in self._to_run_freely[:1]:
            endless = replace(toolpath.moves, feed_mm_per_s=np.full(len(toolpath), np.inf))
            travel = planned(endless, self._machine)
            is_on = toolpath.beam_s > 0
            seconds = travel.seconds[is_on]
            speed = travel.length_mm[is_on] / seconds
            self._free_seconds_in_class += self._in_classes(speed, seconds)
        self._to_run_freely.clear()

    def add(self, timed: Timed) -> None:
        """Take in some settled pieces."""
        is_on = timed.toolpath.beam_s > 0
        if not is_on.any():
            return
        toolpath = timed.toolpath.part(is_on)
        seconds, length = timed.seconds[is_on], timed.travel.length_mm[is_on]
        speed = length / seconds
        asked_mm_per_s = toolpath.feed_mm_per_s
        self.seconds += float(seconds.sum())
        self.length_mm += float(length.sum())
        self.asked_s += float((length / asked_mm_per_s).sum())
        self.at_speed_s += float(seconds[speed >= asked_mm_per_s * (1 - _AT_SPEED_WITHIN)].sum())
        power = np.minimum(toolpath.beam_s / self._machine.max_s, 1.0)
        follows = np.where(toolpath.is_constant_power, 1.0, np.minimum(speed / asked_mm_per_s, 1.0))
        self.full_power_s += float((seconds * power * follows).sum())
        self._seconds_in_class += self._in_classes(speed, seconds)
        self.burnt.take_in(toolpath.x_mm, toolpath.y_mm)
        self.burnt.take_in(toolpath.x_mm - toolpath.dx_mm, toolpath.y_mm - toolpath.dy_mm)

    def to_table(self) -> JsonTable:
        """Return the sums as they go into JSON; speeds in mm/min, None where nothing is burnt."""
        if self.seconds == 0:
            return {"mean_mm_per_min": None}
        per_minute = SECONDS_PER_MINUTE
        return {
            "asked_mm_per_min": round(self.length_mm / self.asked_s * per_minute, 1),
            "mean_mm_per_min": round(self.length_mm / self.seconds * per_minute, 1),
            "slowest_twentieth_mm_per_min": round(
                self._below(self._seconds_in_class, 0.05) * per_minute, 1
            ),
            "share_at_asked": round(self.at_speed_s / self.seconds, 4),
            "useful_mm_per_min": round(
                self._below(self._free_seconds_in_class, _USEFUL_SHARE) * per_minute, 1
            ),
            "full_power_s": round(self.full_power_s, 3),
            "full_power_s_per_mm": self.full_power_s / self.length_mm,
        }

    def _in_classes(self, speed: Floats, seconds: Floats) -> Floats:
        """Return how many seconds fall into each class of speed."""
        classes = np.minimum(speed / self._class_mm_per_s, _SPEED_CLASSES - 1).astype(np.intp)
        summed = np.bincount(classes, seconds, minlength=_SPEED_CLASSES)
        return summed.astype(np.float64)

    def _below(self, seconds_in_class: Floats, share: float) -> float:
        """Return the speed below which the head is for `share` of the time."""
        summed = np.cumsum(seconds_in_class)
        return int(np.searchsorted(summed, share * summed[-1])) * self._class_mm_per_s
