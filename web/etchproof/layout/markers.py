"""Markers: the four squares in a card's corners, which say which card it is and how it lies.

They are ArUco markers of the family 36h11, the one whose many codes can carry a number (S.
Garrido-Jurado and others, Pattern Recognition 47, 2014; E. Olson, ICRA 2011, for the family).
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

CORNERS: Final = ("top left", "top right", "bottom right", "bottom left")
CODES: Final = 587
CARD_NUMBERS: Final = CODES // len(CORNERS)  # then the numbers begin again
MODULES: Final = 8  # dark border, six by six of code, dark border


def code_of(card_number: int, corner: int) -> int:
    """Return the code of a card's marker in the corner `CORNERS[corner]`."""
    return card_number % CARD_NUMBERS * len(CORNERS) + corner


def card_and_corner(code: int) -> tuple[int, int]:
    """Return what a marker says: the card's number, counted round, and the corner."""
    return divmod(code, len(CORNERS))


def dictionary() -> Any:
    """Return OpenCV's table of this family."""
    import cv2  # noqa: PLC0415  a tenth of a second that a page without cards need not wait

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def draw_marker(code: int, module_dots: int) -> NDArray[np.bool_]:
    """Return a marker as dots, True = burn; each of its modules is `module_dots` square."""
    import cv2  # noqa: PLC0415

    modules = cv2.aruco.generateImageMarker(dictionary(), code, MODULES) == 0
    return np.kron(modules, np.ones((module_dots, module_dots), dtype=np.bool_))
