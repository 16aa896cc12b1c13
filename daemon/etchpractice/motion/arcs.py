"""Arcs cut into short straight moves, as the controller does before planning."""

import math
from collections.abc import Sequence
from typing import Final

Triple = tuple[float, float, float]

BAD_TARGET, BAD_RADIUS, NO_CENTRE = 33, 34, 35
_GREAT_ERROR_MM: Final = 0.5
_SMALL_ERROR_MM: Final = 0.005
_SMALL_ERROR_SHARE: Final = 0.001
_SAME_ANGLE: Final = 5e-7


def arc_points(  # noqa: PLR0913 - an arc has so many figures
    *,
    start: Triple,
    end: Triple,
    plane: tuple[int, int, int],
    is_clockwise: bool,
    radius: float | None,
    centre: Sequence[float] | None,
    tolerance_mm: float,
) -> tuple[int, list[Triple]]:
    """Return an error number (0 for none) and the ends of the chords of an arc.

    `plane` holds the two axes of the circle and the one along which a helix rises; `centre` is
    an offset from `start`. Chords stray from the arc by at most `tolerance_mm`.
    """
    first, second, along = plane
    if radius is not None:
        code, found = _centre_from_radius(
            end[first] - start[first], end[second] - start[second], radius, is_clockwise
        )
        if code:
            return code, []
        centre = found
    elif centre is None:
        return NO_CENTRE, []
    middle = (start[first] + centre[0], start[second] + centre[1])
    own = math.hypot(centre[0], centre[1])
    other = math.hypot(end[first] - middle[0], end[second] - middle[1])
    error = abs(own - other)
    if error > _GREAT_ERROR_MM or (error > _SMALL_ERROR_MM and error > _SMALL_ERROR_SHARE * own):
        return BAD_TARGET, []
    angle = math.atan2(-centre[1], -centre[0])
    sweep = _sweep(angle, math.atan2(end[second] - middle[1], end[first] - middle[0]), is_clockwise)
    count = _chords(abs(sweep) * own, own, tolerance_mm)
    points = []
    for number in range(1, count):
        share = number / count
        place = list(start)
        place[first] = middle[0] + own * math.cos(angle + sweep * share)
        place[second] = middle[1] + own * math.sin(angle + sweep * share)
        place[along] = start[along] + (end[along] - start[along]) * share
        points.append((place[0], place[1], place[2]))
    return 0, [*points, end]


def _sweep(start: float, end: float, is_clockwise: bool) -> float:
    sweep = math.remainder(end - start, math.tau)
    if is_clockwise and sweep >= -_SAME_ANGLE:
        return sweep - math.tau
    if not is_clockwise and sweep <= _SAME_ANGLE:
        return sweep + math.tau
    return sweep


def _chords(length: float, radius: float, tolerance_mm: float) -> int:
    spread = tolerance_mm * (2 * radius - tolerance_mm)
    return max(1, math.floor(0.5 * length / math.sqrt(spread))) if spread > 0 else 1


def _centre_from_radius(
    x: float,
    y: float,
    radius: float,
    is_clockwise: bool,
) -> tuple[int, tuple[float, float]]:
    chord2 = x * x + y * y
    if chord2 == 0:
        return BAD_TARGET, (0.0, 0.0)
    rest = 4 * radius * radius - chord2
    if rest < 0:
        return BAD_RADIUS, (0.0, 0.0)
    aside = -math.sqrt(rest / chord2)
    if not is_clockwise:
        aside = -aside
    if radius < 0:
        aside = -aside
    return 0, (0.5 * (x - y * aside), 0.5 * (y + x * aside))
