"""The bed: where a head can go, seen from the job's origin, and how sure that is.

The one place that decides what lies outside it: for moves, outlines, the preflight of a file,
arming, starting and re-entry.
"""

from typing import Any, Final, Self

from etchwire.sheet import Bounds
from etchwire.wire_value import WireValue

# Half of the last digit of a report: what is no further out is on the edge.
EDGE_MM: Final = 0.0005

_SIDES: Final = (
    ("left_mm", -1, "x", "to the left", "further right"),
    ("right_mm", 1, "x", "to the right", "further left"),
    ("bottom_mm", -1, "y", "downwards", "further up"),
    ("top_mm", 1, "y", "upwards", "further down"),
)


class Bed(WireValue):
    """The corners of the travel in the job's coordinates, in mm.

    Nobody knows where in its travel the origin of a machine lies that was not homed: its bed is
    taken to begin at the origin, and what is refused is only what lies further from the origin
    than the whole travel, on either side.
    """

    left_mm: float
    bottom_mm: float
    right_mm: float
    top_mm: float
    is_homed: bool

    @classmethod
    def unhomed(cls, x_mm: float, y_mm: float) -> Self:
        """Return the bed of a machine that moves so far and was not homed."""
        return cls(left_mm=0.0, bottom_mm=0.0, right_mm=x_mm, top_mm=y_mm, is_homed=False)

    @property
    def reach(self) -> Bounds:
        """Where the head may be sent."""
        return Bounds(
            left_mm=self.left_mm if self.is_homed else -self.right_mm,
            bottom_mm=self.bottom_mm if self.is_homed else -self.top_mm,
            right_mm=self.right_mm,
            top_mm=self.top_mm,
        )

    def is_outside(self, x_mm: Any, y_mm: Any) -> Any:
        """Return whether the head must not be sent there; of arrays, an array of truths."""
        reach = self.reach
        return (
            (x_mm < reach.left_mm - EDGE_MM)
            | (x_mm > reach.right_mm + EDGE_MM)
            | (y_mm < reach.bottom_mm - EDGE_MM)
            | (y_mm > reach.top_mm + EDGE_MM)
        )

    def objection(self, way: Bounds) -> str | None:
        """Return why a head must not go all over `way`, run-ups included; None where it may."""
        for axis, low, high in (("x", "left_mm", "right_mm"), ("y", "bottom_mm", "top_mm")):
            wanted_mm = getattr(way, high) - getattr(way, low)
            has_mm = getattr(self, high) - getattr(self, low)
            if wanted_mm > has_mm + EDGE_MM:
                return (
                    f"The job moves {wanted_mm:.1f} mm along {axis}, but the machine has"
                    f" {has_mm:g} mm. Make the picture smaller."
                )
        corners = ((way.left_mm, way.bottom_mm), (way.right_mm, way.top_mm))
        if not any(self.is_outside(*corner) for corner in corners):
            return None
        return f"The job would leave the bed: {'; '.join(self._overshoots(way))}."

    def _overshoots(self, way: Bounds) -> list[str]:
        reach, found = self.reach, []
        for side, sign, axis, whither, remedy in _SIDES:
            end_mm, way_mm = getattr(reach, side), getattr(way, side)
            over_mm = sign * (way_mm - end_mm)
            if over_mm > EDGE_MM:
                found.append(
                    f"with its run-ups it goes {whither} to {axis} {way_mm:z.1f} mm, and the bed"
                    f" ends at {end_mm:z.1f} mm; set the origin {max(over_mm, 0.1):.1f} mm"
                    f" {remedy}, or make the picture smaller"
                )
        return found
