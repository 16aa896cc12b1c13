"""What holds on every line of a file: modes, power, feed and place, carried from line to line."""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Counts, Flags, Floats
from etchpath.language.dialect import (
    ABSOLUTE,
    BEAM_OFF,
    CONSTANT_POWER,
    INCH,
    MILLIMETRE,
    NO_MOTION,
    NOT_SET,
    RAPID,
    Event,
    Mode,
    Number,
)
from etchpath.language.lines import Lines

Modes = NDArray[np.int16]
Values = TypeVar("Values", bound=NDArray[Any])

MM_PER_INCH: Final = 25.4
MOST_CLEARED_ORIGINS: Final = 100  # in one block; each one costs a pass of its own
MOST_JUDGED: Final = 100  # times a block is gone through; behind that many refusals nothing runs


@dataclass(frozen=True, slots=True)
class States:
    """One entry a line, for lines `first` to `first + len` of a block.

    Places are millimetres from the origin that was set before the start, whatever the file
    does to its own. `power_s` and `feed_mm_per_min` are not numbers until a file sets them.
    """

    lines: Lines
    first: int
    before: "Carried"
    motion: Modes
    distance: Modes
    spindle: Modes
    power_s: Floats
    feed_mm_per_min: Floats
    x_mm: Floats
    y_mm: Floats
    start_x_mm: Floats
    start_y_mm: Floats
    scale: Floats  # millimetres in a unit of the file
    is_move: Flags
    stops: Flags  # the head comes to rest before the line's own move

    def given(self, number: Number) -> Floats:
        """Return the column of a number for these lines."""
        column: Floats = self.lines.numbers[number, self.part]
        return column

    @property
    def part(self) -> slice:
        """Which of the block's lines these are."""
        return slice(self.first, self.first + len(self.motion))

    def __len__(self) -> int:
        return len(self.motion)

    def carried_to(self, place: int) -> "Carried":
        """Return what the lines before `place`, counted within these, have left.

        The file's own count of places is taken to be the true one: no origin was shifted.
        """
        if place == 0:
            return deepcopy(self.before)
        last = place - 1
        units = INCH if self.scale[last] == MM_PER_INCH else MILLIMETRE
        modes = (self.motion[last], self.distance[last], units, self.spindle[last])
        here = [float(self.x_mm[last]), float(self.y_mm[last])]
        return Carried(
            modes=[int(mode) for mode in modes],
            power_s=float(self.power_s[last]),
            feed_mm_per_min=float(self.feed_mm_per_min[last]),
            work_mm=list(here),
            place_mm=here,
        )

    @property
    def line_number(self) -> int:
        """The number in the file of the first of these lines."""
        return self.lines.block.first_line + self.first

    @property
    def line_ends(self) -> Counts:
        """Where in the file each line ends."""
        ends: Counts = self.lines.ends[self.part]
        return ends + (self.lines.block.first_byte + 1)

    @property
    def is_beam_on(self) -> Flags:
        """Whether the beam is commanded on while the head moves at a feed."""
        is_feed = (self.motion != RAPID) & (self.motion != NO_MOTION)
        is_on: Flags = (self.spindle != BEAM_OFF) & (self.power_s > 0) & is_feed
        return is_on


@dataclass(slots=True)
class Carried:
    """What one line leaves to the next."""

    modes: list[int] = field(default_factory=lambda: [RAPID, ABSOLUTE, MILLIMETRE, BEAM_OFF])
    power_s: float = float("nan")
    feed_mm_per_min: float = float("nan")
    work_mm: list[float] = field(default_factory=lambda: [0.0, 0.0])  # as the file counts
    place_mm: list[float] = field(default_factory=lambda: [0.0, 0.0])  # from the set origin


def follow(lines: Lines, carried: Carried) -> Iterator[States]:
    """Yield the states of all lines in order, and leave in `carried` what the last one left.

    A line that the controller would refuse because of what holds there is taken out of
    `lines`, with a remark.
    """
    _drop_refused(lines, carried)
    edges = [0, *_cleared(lines), len(lines)]
    for first, end in pairwise(edges):
        if first == end:
            continue
        if lines.does(Event.CLEARS_ORIGIN)[first]:
            carried.work_mm = list(carried.place_mm)
        yield _states(lines, slice(first, end), carried)


def _cleared(lines: Lines) -> list[int]:
    """Return the lines at which the file's own origin is dropped."""
    cleared = np.flatnonzero(lines.does(Event.CLEARS_ORIGIN))
    if len(cleared) > MOST_CLEARED_ORIGINS:
        lines.remark("too many origins", cleared[MOST_CLEARED_ORIGINS:])
        cleared = cleared[:MOST_CLEARED_ORIGINS]
    return [int(place) for place in cleared if place > 0]


def _drop_refused(lines: Lines, carried: Carried) -> None:
    """Take out the lines whose words do not suit the motion and the feed that hold there.

    A refused line sets neither, so what stands behind one that would have is judged anew.
    """
    for rounds_left in reversed(range(MOST_JUDGED)):
        refusals = _refusals(lines, carried)
        refused = np.logical_or.reduce([where for _, where in refusals])
        sets = (lines.modes[Mode.MOTION] != NOT_SET) | lines.given(Number.F)
        misleading = np.flatnonzero(refused & sets)
        judged = slice(int(misleading[0]) + 1 if len(misleading) and rounds_left else None)
        for kind, where in refusals:
            lines.remark(kind, np.flatnonzero(where[judged]))
        lines.drop(np.flatnonzero(refused[judged]))
        if len(misleading) == 0:
            return
    lines.drop(np.arange(misleading[0], len(lines)))


def _refusals(lines: Lines, carried: Carried) -> list[tuple[str, Flags]]:
    """Return what the controller would object to, and where: each line under one kind only."""
    motion = _held_mode(lines.modes[Mode.MOTION], carried.modes[Mode.MOTION])
    is_arc = (motion == 2) | (motion == 3)
    has_axes = lines.given(Number.X) | lines.given(Number.Y)
    sets_origin = lines.does(Event.SETS_ORIGIN)
    by_centre = lines.given(Number.I) | lines.given(Number.J)
    by_radius = lines.given(Number.R)
    is_move = has_axes & ~sets_origin & (motion != NO_MOTION)
    feed = _held_number(lines.numbers[Number.F], carried.feed_mm_per_min)
    is_arc_line = is_arc & ((lines.modes[Mode.MOTION] >= 2) | by_centre | by_radius)
    complaints = (
        ("no axis word", is_arc_line & ~has_axes),
        ("unused word", (by_centre | by_radius) & (~is_arc | sets_origin)),
        ("unused word", by_centre & by_radius & is_arc),
        ("no motion mode", has_axes & ~sets_origin & (motion == NO_MOTION)),
        ("arc without centre", is_move & is_arc & ~by_centre & ~by_radius),
        ("no feed", is_move & (motion > 0) & ~(feed > 0)),
    )
    refusals = []
    refused = np.zeros(len(lines), dtype=bool)
    for kind, where in complaints:
        refusals.append((kind, where & ~refused))
        refused |= where
    return refusals


def _states(lines: Lines, part: slice, carried: Carried) -> States:
    modes, numbers = lines.modes[:, part], lines.numbers[:, part]
    before = deepcopy(carried)
    motion, distance, units, spindle = (
        _held_mode(column, start) for column, start in zip(modes, before.modes, strict=True)
    )
    scale = np.where(units == INCH, MM_PER_INCH, 1.0)
    power = _held_number(numbers[Number.S], carried.power_s)
    feed = _held_number(numbers[Number.F] * scale, carried.feed_mm_per_min)
    has_axes = ~np.isnan(numbers[Number.X]) | ~np.isnan(numbers[Number.Y])
    sets_origin = lines.does(Event.SETS_ORIGIN)[part]
    is_move = has_axes & ~sets_origin & (motion != NO_MOTION)
    is_absolute = (distance == ABSOLUTE) | sets_origin
    places = []
    for axis in (0, 1):
        work = _work(numbers[axis] * scale, is_absolute, carried.work_mm[axis])
        steps = np.where(is_move, np.diff(work, prepend=carried.work_mm[axis]), 0.0)
        place = np.cumsum(np.append(carried.place_mm[axis], steps))
        carried.work_mm[axis], carried.place_mm[axis] = float(work[-1]), float(place[-1])
        places.append(place)
    stops = lines.does(Event.STOPS)[part]
    stops |= np.diff(spindle, prepend=np.int16(before.modes[Mode.SPINDLE])) != 0
    is_new = (np.diff(power, prepend=before.power_s) != 0) | (spindle == CONSTANT_POWER)
    stops |= is_new & (spindle != BEAM_OFF) & ~np.isnan(numbers[Number.S]) & ~is_move
    carried.modes = [int(column[-1]) for column in (motion, distance, units, spindle)]
    carried.power_s, carried.feed_mm_per_min = float(power[-1]), float(feed[-1])
    return States(
        lines=lines,
        first=part.start,
        before=before,
        motion=motion,
        distance=distance,
        spindle=spindle,
        power_s=power,
        feed_mm_per_min=feed,
        x_mm=places[0][1:],
        y_mm=places[1][1:],
        start_x_mm=places[0][:-1],
        start_y_mm=places[1][:-1],
        scale=scale,
        is_move=is_move,
        stops=stops,
    )


def _work(values: Floats, is_absolute: Flags, start: float) -> Floats:
    """Return an axis as the file counts it: absolute words set it, relative ones add to it."""
    is_given = ~np.isnan(values)
    added = start + np.cumsum(np.where(is_given & ~is_absolute, values, 0.0))
    is_set = is_given & is_absolute
    last = np.maximum.accumulate(np.where(is_set, np.arange(len(values)), -1))
    at = np.maximum(last, 0)
    return np.where(last >= 0, values[at] + (added - added[at]), added)


def _held_mode(values: Modes, start: int) -> Modes:
    return _held(values, values != NOT_SET, start)


def _held_number(values: Floats, start: float) -> Floats:
    return _held(values, ~np.isnan(values), start)


def _held(values: Values, is_given: Flags, start: float) -> Values:
    """Return each value until the next one is given, from `start` on."""
    last = np.maximum.accumulate(np.where(is_given, np.arange(len(values)), -1))
    held: Values = values[np.maximum(last, 0)]  # type: ignore[assignment]  # numpy says any array
    held[last < 0] = start
    return held
