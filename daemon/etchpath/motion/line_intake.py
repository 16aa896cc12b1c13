"""How fast a controller runs whose processor takes its time over every line.

While the head runs a block the processor prepares what comes next, and takes in lines as long as
the queue has room. Where a block lasts less than a line takes, the queue runs short, the planner
looks less far ahead, and the head slows down until lines come in as fast as blocks are run.

What a block does hangs on the one before it, so a path is cut into pieces, and all pieces are
worked out side by side, a block of each at a time. A piece begins some blocks before its own,
with a full queue: a queue forgets how it began within a few times its length. Where lines are
only a little late it drains slowly, and a piece that began too full is worked out again from the
end of the one before it.
"""

from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Final

import numpy as np

from etchpath.arrays import Columns, Counts, Floats
from etchwire.controller.profile import REPORT_EVERY_S, LineCosts

SEGMENT_S: Final = 0.010  # the firmware prepares stretches of this length, or whole blocks,
SEGMENTS_AHEAD: Final = 5  # and so many before they are run
_MOST_FOR_REPORTS: Final = 0.5
_PIECE_BLOCKS: Final = 64
_RUN_IN_QUEUES: Final = 2
_RATE_CLASS_HZ: Final = 50.0
_FASTEST_HZ: Final = 60_000.0
_AT_LIMIT: Final = 1 - 1e-9
_LEAST_SQ: Final = 1e-9  # mm²/s²; keeps a division finite
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Path:
    """Blocks in order as arrays, and how they run while the queue is full.

    `gain` is the sum of 2as before each block, and `ahead` the least that junction² + gain is
    from each block on. `exit_sq` and `seconds` are of a full queue. `gain`, `ahead` and `words_s`
    go on beyond the others, as far as lines are known.
    """

    length: Floats
    acceleration: Floats
    limit: Floats
    steps: Floats  # of the leading axis
    words_s: Floats  # that reading the line takes longer than a dot's
    gain: Floats
    ahead: Floats
    exit_sq: Floats
    seconds: Floats

    def __len__(self) -> int:
        return len(self.exit_sq)


@dataclass(slots=True)
class Hurry:
    """Blocks that the processor slows down: which, at what speed² they end, and waits for lines."""

    places: Counts
    exit_sq: Floats
    dry_s: Floats


@dataclass(frozen=True, slots=True)
class _Queues(Columns):
    """How things stand as each piece goes on to its next block; times count from that moment."""

    speed_sq: Floats
    held: Counts  # blocks in the queue
    free_s: Floats  # when the main loop has time again
    line_s: Floats  # what the next line takes
    ends_s: Floats  # when the blocks before ended, the last one last; SEGMENTS_AHEAD rows

    def put(self, where: Counts, those: "_Queues") -> None:
        for entry in fields(self):
            getattr(self, entry.name)[..., where] = getattr(those, entry.name)


@lru_cache(maxsize=8)
def _stretch(costs: LineCosts) -> Floats:
    """Return by what factor the processor's work takes longer at each class of step rates."""
    rates = np.arange(0.0, _FASTEST_HZ, _RATE_CLASS_HZ).tolist()
    left_by_steps = np.array([1 - costs.interrupt_share(rate) for rate in rates])
    left_by_reports = 1 - min(costs.report_s / REPORT_EVERY_S, _MOST_FOR_REPORTS)
    return 1 / left_by_steps / left_by_reports


class LineIntake:
    """Works out what a controller's costs do to a path."""

    def __init__(self, costs: LineCosts, planner_blocks: int) -> None:
        """Take the costs of a controller with a queue of so many blocks."""
        self._costs = costs
        self._capacity = planner_blocks
        self._stretch = _stretch(costs)
        self._most_stretch = float(self._stretch.max())
        line_s = costs.read_s + costs.answer_s + costs.replan_s * planner_blocks
        self._slowest_line_s = (line_s + costs.ramp_segment_s) * self._most_stretch
        self.run_in = _RUN_IN_QUEUES * planner_blocks

    def hurried(self, path: Path, first: int) -> Hurry:
        """Return what becomes of the blocks of `path` from `first` on; those before lead up to it.

        Blocks that run as they would with a full queue are left out.
        """
        owns = first + _PIECE_BLOCKS * self._short_pieces(path, first)
        if len(owns) == 0:
            return Hurry(owns, np.empty(0), np.empty(0))
        blocks = min(_PIECE_BLOCKS, len(path) - int(owns[0]))  # fewer where there is but one piece
        before = self._run_in(path, owns)
        exit_sq, dry_s, after = self._stepped(path, before, owns, blocks)
        follows = np.flatnonzero(np.diff(owns) == _PIECE_BLOCKS) + 1
        for _ in range(self._capacity):  # each time round, a queue is shorter by one at least
            late = follows[after.held[follows - 1] < before.held[follows]]
            if len(late) == 0:
                break
            begin = after.part(late - 1)
            before.put(late, begin)
            exit_sq[:, late], dry_s[:, late], end = self._stepped(path, begin, owns[late], blocks)
            after.put(late, end)
        places = owns + np.arange(blocks)[:, None]
        is_own = places < len(path)
        return Hurry(places[is_own], exit_sq[is_own], dry_s[is_own])

    def _short_pieces(self, path: Path, first: int) -> Counts:
        """Return which pieces have a stretch of blocks that lines might not keep up with."""
        window = max(1, min(self._capacity - 1, len(path)))
        words_s = path.words_s[: len(path)] * self._most_stretch
        ends = np.append(0.0, np.cumsum(path.seconds - words_s))
        lasts_s = ends[window:] - ends[:-window]
        is_short = np.append(lasts_s < window * self._slowest_line_s, np.zeros(window - 1, bool))
        pieces = -(-(len(path) - first) // _PIECE_BLOCKS)
        short = np.flatnonzero(is_short) - first
        is_touched = np.zeros(pieces, dtype=bool)
        for places in (short, short + self.run_in):
            touched = places // _PIECE_BLOCKS
            is_touched[touched[(touched >= 0) & (touched < pieces)]] = True
        return np.flatnonzero(is_touched)

    def _run_in(self, path: Path, owns: Counts) -> _Queues:
        """Return how things stand before each of `owns`, some blocks after a full queue."""
        starts = np.maximum(owns - self.run_in, 0)
        queues = _Queues(
            speed_sq=np.append(0.0, path.exit_sq)[starts],
            held=np.minimum(self._capacity, len(path.gain) - 1 - starts),
            free_s=np.zeros(len(starts)),
            line_s=np.full(len(starts), self._costs.read_s + self._costs.answer_s),
            ends_s=np.zeros((SEGMENTS_AHEAD, len(starts))),
        )
        for blocks in np.unique(owns - starts).tolist():
            group = np.flatnonzero(owns - starts == blocks)
            *_, ran = self._stepped(path, queues.part(group), starts[group], blocks)
            queues.put(group, ran)
        return queues

    def _stepped(
        self, path: Path, queues: _Queues, starts: Counts, count: int
    ) -> tuple[Floats, Floats, _Queues]:
        """Run `count` blocks from each of `starts` on.

        Return speed² at the end of each block, how long the head stood waiting for it, and how
        things stand then.
        """
        costs, capacity, last_block = self._costs, self._capacity, len(path.gain) - 1
        places = np.minimum(starts + np.arange(count)[:, None], len(path) - 1)
        ends_gain = path.gain[places + 1]
        cap = path.ahead[places + 1] - ends_gain
        length, limit_sq = path.length[places], path.limit[places] ** 2
        acceleration = path.acceleration[places]
        double_al, inverse_a = 2 * acceleration * length, 1 / acceleration
        single_al, level_sq = double_al * 0.5, limit_sq * _AT_LIMIT
        reads_s = path.words_s + (costs.read_s + costs.answer_s)
        rate_mm = path.steps[places] / _RATE_CLASS_HZ
        last_segment_s = path.seconds[places] - SEGMENTS_AHEAD * SEGMENT_S
        exits, dry_s = np.empty_like(cap), np.empty_like(cap)
        ends_s = np.concatenate([queues.ends_s, np.empty_like(cap)])
        speed_sq, free_s, line_s = queues.speed_sq, queues.free_s.copy(), queues.line_s
        speed, end_s = np.sqrt(speed_sq), np.zeros(len(starts))
        queued = starts + queues.held
        for step, place in enumerate(places):
            room_s = np.maximum(ends_s[step], end_s + last_segment_s[step])
            held = queued - place
            is_empty = held == 0
            starts_s = np.maximum(end_s, free_s + is_empty * line_s)
            lines_that_fit = np.minimum(np.maximum((room_s - free_s) / line_s, is_empty), capacity)
            lines = np.minimum(np.ceil(lines_that_fit).astype(np.int64), capacity - held)
            free_s = np.maximum(free_s + lines * line_s, room_s)
            queued = np.minimum(queued + lines, last_block)
            stop_sq = (
                path.gain.take(queued) - ends_gain[step]
            )  # from which the queue's end is a stop
            exit_sq = np.minimum(np.minimum(cap[step], stop_sq), speed_sq + double_al[step])
            mean_sq = (speed_sq + exit_sq) * 0.5
            peak_sq = np.minimum(limit_sq[step], mean_sq + single_al[step])
            peak, leaving = np.sqrt(peak_sq), np.sqrt(exit_sq)
            level = np.maximum(length[step] - (peak_sq - mean_sq) * inverse_a[step], 0.0)
            seconds = (2 * peak - speed - leaving) * inverse_a[step] + level / peak
            dry_s[step] = starts_s - end_s
            end_s = ends_s[step + SEGMENTS_AHEAD] = starts_s + seconds
            stretch = self._stretch.take((rate_mm[step] / seconds).astype(np.int64), mode="clip")
            is_level = exit_sq >= level_sq[step]
            free_s += stretch * np.where(is_level, costs.level_segment_s, costs.ramp_segment_s)
            share = limit_sq[step] / np.maximum(stop_sq, _LEAST_SQ)  # of the queue is a stop's way
            behind = queued - place - 1
            planned = np.maximum(np.minimum(np.ceil(share * behind - _ROUNDING) - 1, behind), 0.0)
            line_s = stretch * (costs.replan_s * planned + reads_s.take(queued, mode="clip"))
            exits[step], speed, speed_sq = exit_sq, leaving, exit_sq
        held = queued - starts - count
        return exits, dry_s, _Queues(speed_sq, held, free_s - end_s, line_s, ends_s[count:] - end_s)
