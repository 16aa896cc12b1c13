"""What measured speeds say of a controller, and the speeds that its costs allow.

A straight row of equal steps is run as fast as lines come in, or as the planner's look-ahead, the
cable or the speed asked for allows. In the first case the queue holds the blocks from which the
head can just stop, v² = 2ad(n - 1), and each block lasts as long as a line costs: that gives how
many times as long as the 8-bit part's this controller's work takes.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

from etchwire.controller.profile import EIGHT_BIT, ControllerProfile, LineCosts

_STARVED_SHARE: Final = 0.9  # below it nothing but the processor can have been the limit
_SECONDS_PER_MINUTE: Final = 60.0
_NEAREST_MM_PER_S: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """What motion along x is like, by the controller's settings."""

    acceleration_mm_per_s2: float
    steps_per_mm: float
    max_feed_mm_per_min: float


@dataclass(frozen=True, slots=True)
class SpeedSample:
    """A row of steps of one length, the speed asked for, and the speed seen."""

    step_mm: float
    asked_mm_per_min: float
    seen_mm_per_min: float
    line_bytes: int


def profile_of(
    samples: Sequence[SpeedSample],
    axis: Axis,
    assumed: ControllerProfile,
    *,
    bytes_per_s: float,
) -> ControllerProfile:
    """Return the profile of the controller that ran `samples`.

    One that no sample held up keeps the costs of `assumed`: it is at least as fast as was seen.
    """
    factors = [
        _factor(sample, axis)
        for sample in samples
        if sample.seen_mm_per_min
        < _STARVED_SHARE * _unhindered_mm_per_min(sample, axis, assumed, bytes_per_s)
    ]
    costs = EIGHT_BIT.costs.times(median(factors)) if factors else assumed.costs
    return replace(assumed, costs=costs, is_measured=True)


def kept_mm_per_min(step_mm: float, axis: Axis, profile: ControllerProfile) -> float:
    """Return the highest speed at which a row of steps of one length runs as it is asked to."""
    slow, fast = 0.0, axis.max_feed_mm_per_min / _SECONDS_PER_MINUTE
    fast = min(fast, _look_ahead_mm_per_s(step_mm, axis, profile))
    if _is_kept(fast, step_mm, axis, profile.costs):
        return fast * _SECONDS_PER_MINUTE
    while fast - slow > _NEAREST_MM_PER_S:
        middle = (slow + fast) / 2
        if _is_kept(middle, step_mm, axis, profile.costs):
            slow = middle
        else:
            fast = middle
    return slow * _SECONDS_PER_MINUTE


def _is_kept(speed: float, step_mm: float, axis: Axis, costs: LineCosts) -> bool:
    """Return whether lines come in as fast as blocks of even speed are run."""
    replanned = max(math.ceil(speed**2 / (2 * axis.acceleration_mm_per_s2 * step_mm)) - 1, 0)
    work_s = costs.read_s + costs.answer_s + costs.level_segment_s + costs.replan_s * replanned
    share = costs.interrupt_share(speed * axis.steps_per_mm)
    return work_s / (1 - share) <= step_mm / speed


def _factor(sample: SpeedSample, axis: Axis) -> float:
    """Return how many times as long as on the 8-bit part everything took."""
    costs = EIGHT_BIT.costs
    speed = sample.seen_mm_per_min / _SECONDS_PER_MINUTE
    line_s = sample.step_mm / speed
    behind = speed**2 / (2 * axis.acceleration_mm_per_s2 * sample.step_mm)
    work_s = costs.read_s + costs.answer_s + costs.ramp_segment_s + costs.replan_s * behind
    return line_s / (work_s + line_s * costs.interrupt_share(speed * axis.steps_per_mm))


def _unhindered_mm_per_min(
    sample: SpeedSample, axis: Axis, profile: ControllerProfile, bytes_per_s: float
) -> float:
    """Return how fast the row would run if the processor took no time."""
    cable = sample.step_mm * bytes_per_s / sample.line_bytes
    speed = min(cable, _look_ahead_mm_per_s(sample.step_mm, axis, profile))
    return min(speed * _SECONDS_PER_MINUTE, sample.asked_mm_per_min, axis.max_feed_mm_per_min)


def _look_ahead_mm_per_s(step_mm: float, axis: Axis, profile: ControllerProfile) -> float:
    blocks = profile.planner_blocks - 1
    return math.sqrt(2 * axis.acceleration_mm_per_s2 * step_mm * blocks)
