"""Rectification: the photo of a tilted card as the card itself, seen from straight above.

A homography (R. Hartley, A. Zisserman, Multiple View Geometry, chapter 4) through the sixteen
corners of the four markers. It knows nothing of a lens that bends lines: at one per cent of that
the middle of the card is off by a fifth of a millimetre, which is why only cores are read.
"""

from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchproof.card import Card, Marker
from etchproof.errors import PhotoRefused
from etchproof.reading.detection import Found
from etchproof.reading.photograph import Light

Matrix = NDArray[np.floating[Any]]

MOST_PX_PER_MM: Final = 24.0
LEAST_PX_PER_MM: Final = 6.0


@dataclass(frozen=True, slots=True)
class Rectified:
    """A card seen from above: light at `px_per_mm`, and what takes card mm to photo pixels.

    Where the bare margin reaches beyond the photo the light is not a number.
    `residual_mm` is how far the markers' corners lie off a flat card's, root mean square.
    """

    light: Light
    px_per_mm: float
    mm_to_photo: Matrix
    residual_mm: float


def homography(from_points: Matrix, to_points: Matrix) -> Matrix:
    """Return the 3 × 3 matrix that takes points (n, 2) to points, with 1 in its lower right.

    Least squares over all points. Raise PhotoRefused where the points determine none: fewer
    than four of them apart, or three in line.
    """
    matrix, _ = cv2.findHomography(from_points, to_points, method=0)
    if matrix is None or not np.isfinite(matrix).all() or _is_flat(from_points, to_points):
        raise PhotoRefused(
            "no-plane", "the card's markers lie in one line: photograph it from above"
        )
    return np.asarray(matrix, dtype=np.float64)


def apply(matrix: Matrix, points: Matrix) -> Matrix:
    """Return where `matrix` takes points of shape (n, 2)."""
    moved = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    taken: Matrix = moved[:, :2] / moved[:, 2:]
    return taken


def rectify(light: Light, found: Found, card: Card) -> Rectified:
    """Return `card` as it would look from straight above."""
    mm_to_photo, card_points, photo_points = card_to_photo(found, card)
    px_per_mm = min(MOST_PX_PER_MM, _scale(mm_to_photo, card))
    if px_per_mm < LEAST_PX_PER_MM:
        raise PhotoRefused(
            "too-small",
            f"the picture has only {px_per_mm:.1f} pixels for a millimetre of the card: go "
            f"nearer, {LEAST_PX_PER_MM:g} are needed",
        )
    # Pixel centres have whole numbers in a picture; on the card a pixel's middle is half of one.
    px_to_mm = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, px_per_mm]]) / px_per_mm
    size = round(card.width_mm * px_per_mm), round(card.height_mm * px_per_mm)
    seen: Any = cv2.warpPerspective(
        light,
        mm_to_photo @ px_to_mm,
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderValue=np.nan,
    )
    off_mm = apply(np.linalg.inv(mm_to_photo), photo_points) - card_points
    residual_mm = float(np.sqrt((off_mm**2).sum(axis=1).mean()))
    return Rectified(seen, px_per_mm, mm_to_photo, residual_mm)


def marker_corners_mm(marker: Marker, spacing_mm: float) -> Matrix:
    """Return a marker's corners on the card, (4, 2) from its upper left one clockwise."""
    area = marker.area
    corners = [
        (area.left, area.top),
        (area.right, area.top),
        (area.right, area.bottom),
        (area.left, area.bottom),
    ]
    return np.array(corners, dtype=np.float64) * spacing_mm


def card_to_photo(found: Found, card: Card) -> tuple[Matrix, Matrix, Matrix]:
    """Return what takes card mm to photo pixels, and the points it was found from in both."""
    seen = [marker for marker in card.markers if marker.corner in found.markers]
    on_card = np.concatenate([marker_corners_mm(marker, card.spacing_mm) for marker in seen])
    in_photo = np.concatenate([found.markers[marker.corner] for marker in seen])
    return homography(on_card, in_photo), on_card, in_photo


def _scale(mm_to_photo: Matrix, card: Card) -> float:
    """Return the photo's pixels per mm in the middle of the card, the lesser of both ways."""
    x, y = card.width_mm / 2, card.height_mm / 2
    points = apply(mm_to_photo, np.array([[x, y], [x + 1, y], [x, y + 1]]))
    return float(np.linalg.norm(points[1:] - points[0], axis=1).min())


def _is_flat(*point_sets: Matrix) -> bool:
    """Return whether all points of a set, or all but one of four, lie in one line."""
    for points in point_sets:
        centred = points - points.mean(axis=0)
        spread = np.linalg.svd(centred, compute_uv=False)
        if spread[1] < 1e-6 * max(spread[0], 1e-12):
            return True
        if len(points) == 4 and _has_three_in_line(points):
            return True
    return False


def _has_three_in_line(points: Matrix) -> bool:
    size = np.ptp(points, axis=0).max() ** 2
    for left_out in range(4):
        a, b, c = np.delete(points, left_out, axis=0)
        if abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])) < 1e-9 * size:
            return True
    return False
