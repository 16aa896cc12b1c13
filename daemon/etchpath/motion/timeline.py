"""When everything happens: a toolpath, run through the planner and over the serial line."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from etchpath.arrays import Floats
from etchpath.machine import Machine
from etchpath.motion.planner import Planner, Travel
from etchpath.motion.toolpath import Toolpath

# Over this many pieces the bytes they take are set against the time they last: more than the
# controller holds ahead, and still short enough to see a dense spot within a row.
PIECES_PER_WINDOW: Final = 64


@dataclass(frozen=True, slots=True)
class Timed:
    """Pieces whose time is settled: when each ends, how long it runs, how fast.

    `needed_bytes_per_s` is what the line would have to carry to keep up, the same for all
    pieces of a window; where it carries less, `seconds` are the longer ones.
    """

    toolpath: Toolpath
    travel: Travel
    seconds: Floats
    ends_s: Floats
    needed_bytes_per_s: Floats

    def __len__(self) -> int:
        return len(self.toolpath)

    @property
    def starts_s(self) -> Floats:
        """When each piece starts to move: after its wait."""
        return self.ends_s - self.seconds


class Timeline:
    """Takes courses, gives them back with their times as soon as these are settled."""

    def __init__(self, machine: Machine) -> None:
        """Begin at second zero, at rest."""
        self._machine = machine
        self._planner = Planner(machine)
        self._waiting: Toolpath | None = None
        self._byte = 0
        self.now_s = 0.0

    def add(self, toolpath: Toolpath) -> Iterator[Timed]:
        """Take `toolpath`; yield the pieces, from earlier courses too, that are now settled."""
        self._waiting = toolpath if self._waiting is None else self._waiting.joined(toolpath)
        yield from self._settled(self._planner.add(toolpath.moves))

    def finish(self, waiting_s: float = 0.0) -> Iterator[Timed]:
        """Yield the rest, ending at rest, and count the `waiting_s` that no move followed."""
        yield from self._settled(self._planner.finish())
        self.now_s += waiting_s

    def _settled(self, travel: Travel) -> Iterator[Timed]:
        count = len(travel.seconds)
        if count == 0 or self._waiting is None:
            return
        toolpath = self._waiting.part(slice(count))
        self._waiting = self._waiting.part(slice(count, None))
        seconds, needed = self._over_the_line(toolpath, travel)
        ends = self.now_s + np.cumsum(seconds + toolpath.wait_s)
        self.now_s = float(ends[-1])
        yield Timed(toolpath, travel, seconds, ends, needed)

    def _over_the_line(self, toolpath: Toolpath, travel: Travel) -> tuple[Floats, Floats]:
        """Return each piece's seconds, stretched where the line cannot keep up, and its need."""
        starts = np.arange(0, len(toolpath), PIECES_PER_WINDOW)
        lasts = np.append(starts[1:], len(toolpath)) - 1
        sizes = np.diff(toolpath.byte[lasts], prepend=self._byte)
        self._byte = int(toolpath.byte[-1])
        seconds = np.add.reduceat(travel.seconds + toolpath.wait_s, starts)
        least = sizes / self._machine.bytes_per_s
        stretch = np.maximum(1.0, least / seconds)
        counts = lasts - starts + 1
        needed = np.repeat(least / seconds * self._machine.bytes_per_s, counts)
        return travel.seconds * np.repeat(stretch, counts), needed
