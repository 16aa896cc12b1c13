"""Whether a run is complete: every line answered, and the head at its place."""

from collections.abc import Sequence
from math import dist
from typing import Final

TOLERANCE_MM: Final = 0.02


def objections(
    *,
    lines_sent: int,
    lines_accepted: int,
    place_mm: Sequence[float] | None,
    planned_mm: tuple[float, float] | None,
) -> tuple[str, ...]:
    """Return the objections, as sentences; empty for a complete run.

    `planned_mm` is where the job says that the head ends, None when it does not say.
    """
    found = []
    if lines_accepted != lines_sent:
        found.append(
            f"{lines_sent} lines were sent but {lines_accepted} answered: a line may have been"
            " lost on the cable."
        )
    if place_mm is None:
        found.append("The controller did not say where the head is.")
    elif planned_mm is not None and dist(place_mm[:2], planned_mm) > TOLERANCE_MM:
        found.append(
            f"The head is at {_written(place_mm)} but should be at {_written(planned_mm)}:"
            " a line was damaged on the cable, or the head was pushed."
        )
    return tuple(found)


def _written(place_mm: Sequence[float]) -> str:
    return f"x {place_mm[0]:z.2f}, y {place_mm[1]:z.2f} mm"
