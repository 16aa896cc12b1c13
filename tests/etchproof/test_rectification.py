"""Homographies against published and hand-worked values, and what determines none."""

import numpy as np
import pytest

from etchproof.errors import PhotoRefused
from etchproof.reading.rectification import apply, homography

# checks.md 7.1: own DLT (R. Hartley, A. Zisserman, Multiple View Geometry, 2004, chapter 4, from
# memory), cv2.getPerspectiveTransform and skimage's ProjectiveTransform agree on these.
TILE_MM = np.array([(0, 0), (150, 0), (150, 150), (0, 150)], dtype=float)
PHOTO_PX = np.array([(102, 88), (934, 120), (905, 960), (80, 915)], dtype=float)


def test_the_worked_example_gives_its_matrix():
    expected = [
        [5.44765773, -0.1424395139, 102],
        [0.200612699, 5.561681394, 88],
        [-0.0001060052859, 5.283941016e-05, 1],
    ]

    assert homography(TILE_MM, PHOTO_PX) == pytest.approx(np.array(expected), rel=1e-6)


@pytest.mark.parametrize(
    ("mm", "px"),
    [
        ((75, 75), (501.89263, 522.25452)),
        ((37.5, 37.5), (301.54688, 304.69350)),
        ((150, 75), (919.44184, 541.68455)),
        ((10, 140), (135.67521, 863.17121)),
    ],
)
def test_the_worked_example_takes_points_where_it_says(mm, px):
    matrix = homography(TILE_MM, PHOTO_PX)

    assert apply(matrix, np.array([mm], dtype=float))[0] == pytest.approx(px, abs=1e-4)


def test_a_matrix_worked_by_hand_is_found_from_four_corners():
    by_hand = np.array([[1, 0, 0], [0, 1, 0], [0, 0.5, 1]])
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float)

    found = homography(corners, apply(by_hand, corners))

    assert found == pytest.approx(by_hand, abs=1e-6)  # OpenCV takes points in 32 bits
    assert apply(found, np.array([[1.0, 1.0]]))[0] == pytest.approx((2 / 3, 2 / 3))
    assert apply(found, np.array([[0.5, 0.5]]))[0] == pytest.approx((0.4, 0.4))


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (1, 1), (2, 2), (3, 3)],
        [(0, 0), (1, 1), (2, 2), (0, 3)],
        [(0, 0), (0, 0), (2, 2), (0, 3)],
        [(5, 5), (5, 5), (5, 5), (5, 5)],
    ],
)
def test_points_in_line_or_on_top_of_one_another_determine_nothing(points):
    with pytest.raises(PhotoRefused, match="in one line"):
        homography(TILE_MM, np.array(points, dtype=float))
