"""The limit switches at the ends of the axes: where they stand, and which are closed."""

from collections.abc import Sequence
from typing import Final

AXIS_LETTERS: Final = "XYZ"
_BEYOND_MM: Final = 0.01  # how far past its end of the travel a switch closes
_SAME_MM: Final = 1e-6
_NONE: Final = (float("-inf"), float("inf"))

Ends = tuple[float, float]


class Limits:
    """Two switches an axis, low and high, in mm on the bed; what they see is the head's own place.

    The controller counts from wherever the head stood when power came, so both places are kept
    apart: `put` says how they belong together.
    """

    def __init__(self, travel_mm: Sequence[float]) -> None:
        x_mm, y_mm = travel_mm[:2]
        self.ends: list[Ends] = [
            (-_BEYOND_MM, x_mm + _BEYOND_MM), (-_BEYOND_MM, y_mm + _BEYOND_MM), _NONE,
        ]  # fmt: skip
        self.held_down: set[int] = set()  # axes whose switch is pressed by hand, or stuck
        self._zero = [0.0, 0.0, 0.0]  # the controller's zero, on the bed

    def put(self, axis: int, *, place_mm: float, bed_mm: float) -> None:
        """Note that what the controller counts as `place_mm` is `bed_mm` of the bed."""
        self._zero[axis] = bed_mm - place_mm

    def bed_mm(self, axis: int, place_mm: float) -> float:
        """Return where on the bed the controller's `place_mm` is."""
        return self._zero[axis] + place_mm

    def way_mm(self, axis: int, place_mm: float, *, to_low: bool) -> float:
        """Return how far the switch of one end is away, infinitely far where there is none."""
        if axis in self.held_down:
            return 0.0
        low_mm, high_mm = self.ends[axis]
        bed_mm = self.bed_mm(axis, place_mm)
        return max(bed_mm - low_mm if to_low else high_mm - bed_mm, 0.0)

    def closed(self, place: Sequence[float]) -> frozenset[int]:
        """Return the axes of which a switch is closed with the head at `place`."""
        return frozenset(self.held_down) | frozenset(
            axis
            for axis, (low_mm, high_mm) in enumerate(self.ends)
            if not low_mm + _SAME_MM < self.bed_mm(axis, place[axis]) < high_mm - _SAME_MM
        )
