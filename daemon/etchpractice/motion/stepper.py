"""Blocks cut into short segments of even speed, and the segments run one after another.

The queue of segments is what makes a hold late: its five segments of up to 10 ms are run
before the braking that was planned behind them.
"""

from collections import deque
from collections.abc import Callable
from typing import Final, NamedTuple, Protocol

from etchpractice.motion.planner import Beam, Block, Place, Planner
from etchpractice.motion.profile import Profile
from etchpractice.wire import NEVER_S

SEGMENT_S: Final = 0.010
_EARLY_S: Final = 1e-9
_REST_MM: Final = 1e-9


class Segment(NamedTuple):
    """A stretch at even speed with one beam level."""

    from_s: float
    to_s: float
    end: Place
    level: int
    is_dynamic: bool  # whether the output follows the speed


class Prepared(NamedTuple):
    """How many segments were prepared, by what their preparing costs."""

    level: int
    ramps: int


class Track(Protocol):
    """Whoever is told where the head went and what the beam's output was."""

    def move(self, from_s: float, to_s: float, end: Place) -> None:
        """Note that the head went evenly to `end` between two times."""
        ...

    def set_level(self, at_s: float, level: int) -> None:
        """Note a new output level."""
        ...

    def put(self, at_s: float, place: Place, bed: Place) -> None:
        """Note that the controller's `place` is the point `bed` of the bed."""
        ...

    def count_from_zero(self, place: Place) -> None:
        """Note that what was `place` is now the controller's zero."""
        ...

    def slip(self, velocity: Place) -> None:
        """Note a stop in mid-step at this many mm/s: the head runs on, uncounted."""
        ...


class Stepper:
    """Prepares segments from the planner's blocks and runs them."""

    def __init__(
        self,
        planner: Planner,
        *,
        segments: int,
        level_of: Callable[[float], tuple[int, float]],
        track: Track,
    ) -> None:
        self.planner = planner
        self.capacity = segments
        self.segments: deque[Segment] = deque()
        self.place: Place = (0.0, 0.0, 0.0)  # end of the last segment run
        self.speed = 0.0  # mm/s at the end of the last segment prepared
        self.shown_s = 0.0  # S of the last segment prepared, as reports show it
        self.is_braking = False
        self.has_braked = False
        self._level_of = level_of
        self._track = track
        self._profile: Profile | None = None
        self._block: Block | None = None
        self._seen_changes = -1
        self._level = 0
        self._rated: Segment | None = None  # the segment that `_rate` is of
        self._rate = 0.0  # steps/s

    @property
    def next_end_s(self) -> float:
        """When the segment being run ends."""
        return self.segments[0].to_s if self.segments else NEVER_S

    @property
    def level(self) -> int:
        """The output level at this moment."""
        return self.segments[0].level if self.segments else self._level

    @property
    def may_prepare(self) -> bool:
        """Whether there is a block to take a segment from, and room for it."""
        return (
            bool(self.planner.blocks) and len(self.segments) < self.capacity and not self.has_braked
        )

    def prepare(self, now_s: float) -> Prepared:
        """Fill the queue of segments as far as blocks and room allow."""
        segments, blocks = self.segments, self.planner.blocks
        level = ramps = 0
        while blocks and len(segments) < self.capacity and not self.has_braked:
            block = blocks[0]
            profile = self._profile
            if (
                profile is None
                or block is not self._block
                or (profile.done_s and self._seen_changes != self.planner.changes)
            ):
                profile = self._profile = self._plan(block)
                if profile is None:
                    break
            before = self.speed
            self._cut(block, profile, now_s)
            if before == self.speed == profile.peak:
                level += 1
            else:
                ramps += 1
        return Prepared(level, ramps)

    def _plan(self, block: Block) -> Profile | None:
        """Plan the rest of `block` from the speed reached; None when braking ends here."""
        self._block, self._seen_changes = block, self.planner.changes
        speed = self.speed
        if not self.is_braking:
            speeds = (speed, block.nominal, self.planner.exit_speed2())
            return Profile(block.left_mm, block.acceleration, speeds)
        way_mm = speed * speed / (2 * block.acceleration)
        if way_mm < _REST_MM:
            self.has_braked, self.speed = True, 0.0
            return None
        return Profile(min(block.left_mm, way_mm), block.acceleration, (speed, speed, 0.0))

    def _cut(self, block: Block, profile: Profile, now_s: float) -> None:
        """Prepare the next segment of `block`: 10 ms, or what is left of the profile."""
        until_s = profile.done_s + SEGMENT_S
        if until_s >= profile.total_s - _EARLY_S:
            duration_s = profile.total_s - profile.done_s
            self.speed, left_mm = profile.leave, 0.0
            self._profile = None
        else:
            duration_s = SEGMENT_S
            self.speed, left_mm = profile.at(until_s)
            profile.done_s = until_s
        block.left_mm -= profile.left_mm - left_mm
        profile.left_mm = left_mm
        self._emit(block, duration_s, now_s)
        if left_mm == 0.0 and block.left_mm <= _REST_MM:
            self.planner.drop_first()

    def _emit(self, block: Block, duration_s: float, now_s: float) -> None:
        level, self.shown_s = 0, 0.0
        if block.beam is Beam.DYNAMIC:
            level, self.shown_s = self._level_of(block.s * self.speed / block.feed)
        elif block.beam is Beam.CONSTANT:
            level, self.shown_s = self._level_of(block.s)
        left_mm, end = block.left_mm, block.end
        if left_mm > _REST_MM:
            ux, uy, uz = block.unit
            end = (end[0] - ux * left_mm, end[1] - uy * left_mm, end[2] - uz * left_mm)
        segments = self.segments
        from_s = segments[-1].to_s if segments else now_s
        is_dynamic = block.beam is Beam.DYNAMIC
        segments.append(Segment(from_s, from_s + duration_s, end, level, is_dynamic))

    def run(self, now_s: float) -> None:
        """Finish the segments that have ended by `now_s`.

        Where none follows, a main loop that is held up included, the interrupt itself puts an
        output out that follows the speed.
        """
        segments = self.segments
        while segments and segments[0].to_s <= now_s:
            from_s, to_s, end, level, is_dynamic = segments.popleft()
            if level != self._level:
                self._level = level
                self._track.set_level(from_s, level)
            self._track.move(from_s, to_s, end)
            self.place = end
            if is_dynamic and level and not segments:
                self._level = 0
                self._track.set_level(to_s, 0)

    def place_at(self, now_s: float) -> Place:
        """Return where the head is by the steps made so far, in mm."""
        if not self.segments:
            return self.place
        from_s, to_s, end, *_ = self.segments[0]
        share = min(max((now_s - from_s) / (to_s - from_s), 0.0), 1.0) if to_s > from_s else 1.0
        x, y, z = self.place
        return (x + (end[0] - x) * share, y + (end[1] - y) * share, z + (end[2] - z) * share)

    def velocity(self) -> Place:
        """Return the speed of the segment being run, in mm/s along each axis."""
        if not self.segments:
            return (0.0, 0.0, 0.0)
        from_s, to_s, end, *_ = self.segments[0]
        lasts_s = max(to_s - from_s, _EARLY_S)
        (x, y, z), (to_x, to_y, to_z) = self.place, end
        return ((to_x - x) / lasts_s, (to_y - y) / lasts_s, (to_z - z) / lasts_s)

    @property
    def steps_per_s(self) -> float:
        """The rate of the leading axis in the segment being run."""
        if not self.segments:
            return 0.0
        segment = self.segments[0]
        if segment is not self._rated:  # asked at every line, and segments last for several
            (x, y, z), (of_x, of_y, of_z) = self.velocity(), self.planner.steps_per_mm
            self._rated, self._rate = segment, max(abs(x) * of_x, abs(y) * of_y, abs(z) * of_z)
        return self._rate

    def set_level(self, now_s: float, level: int, shown_s: float) -> None:
        """Set the output directly, as the controller does at rest."""
        self.shown_s = shown_s
        if level != self._level:
            self._level = level
            self._track.set_level(now_s, level)

    def brake(self) -> None:
        """Plan no further than the shortest way to rest."""
        self.is_braking = True
        self._profile = None

    def go_on(self) -> None:
        """Forget that the head was braked; the blocks left are run from rest."""
        self.is_braking = self.has_braked = False
        self.speed = 0.0
        self._profile = None

    def stop_dead(self, now_s: float) -> None:
        """Stop in mid-step: the segments and the blocks are gone."""
        if self.segments:
            place, level = self.place_at(now_s), self.segments[0].level
            from_s = self.segments[0].from_s
            if level != self._level:
                self._level = level
                self._track.set_level(from_s, level)
            self._track.move(from_s, now_s, place)
            self.segments.clear()
            self.place = place
        self.flush()

    def flush(self) -> None:
        """Drop every block at rest; the planner starts again where the head is."""
        self.planner.clear(self.place)
        self.place = self.planner.place_at(self.planner.steps)
        self.go_on()
