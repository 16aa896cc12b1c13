"""A marker that could not be read by itself: looked for where the other three say it is.

A pale spot on its dark border is enough to hide a marker from detection, though its pattern is
plain to see. It is believed when nearly all of its modules are as they should be.
"""

from typing import Final

import cv2
import numpy as np

from etchproof.card import Card, Marker
from etchproof.errors import PhotoRefused
from etchproof.layout.markers import CORNERS, MODULES, draw_marker
from etchproof.reading.detection import Found
from etchproof.reading.photograph import Codes
from etchproof.reading.rectification import apply, card_to_photo, marker_corners_mm

LEAST_AGREEMENT: Final = 0.85  # of 64 modules: chance gives a half, another marker two thirds
LEAST_CONTRAST: Final = 12.0  # codes between dark modules and light ones
PX_PER_MODULE: Final = 8


def completed(found: Found, codes: Codes, card: Card) -> Found:
    """Return `found` with all four markers; raise PhotoRefused, naming those that are missing."""
    missing = [marker for marker in card.markers if marker.corner not in found.markers]
    if not missing:
        return found
    if len(missing) > 1:
        raise _missing(missing)
    (marker,) = missing
    mm_to_photo, _, _ = card_to_photo(found, card)
    corners = apply(mm_to_photo, marker_corners_mm(marker, card.spacing_mm))
    if not _is_there(codes, corners, marker):
        raise _missing(missing)
    return Found(found.number, {**found.markers, marker.corner: corners})


def _is_there(codes: Codes, corners: np.ndarray, marker: Marker) -> bool:
    height, width = codes.shape
    if (corners < 0).any() or (corners >= (width - 1, height - 1)).any():
        return False
    side = MODULES * PX_PER_MODULE
    square = np.array([(0, 0), (side, 0), (side, side), (0, side)], dtype=np.float32) - 0.5
    to_square = cv2.getPerspectiveTransform(corners.astype(np.float32), square)
    seen = cv2.warpPerspective(codes, to_square, (side, side)).astype(np.float64)
    modules = seen.reshape(MODULES, PX_PER_MODULE, MODULES, PX_PER_MODULE)[:, 2:-2, :, 2:-2]
    shown = modules.mean(axis=(1, 3))
    is_dark = draw_marker(marker.code, 1)
    dark, light = float(np.median(shown[is_dark])), float(np.median(shown[~is_dark]))
    agreement = float(((shown < (dark + light) / 2) == is_dark).mean())
    return light - dark >= LEAST_CONTRAST and agreement >= LEAST_AGREEMENT


def _missing(markers: list[Marker]) -> PhotoRefused:
    names = " and ".join(CORNERS[marker.corner] for marker in markers)
    count = "the marker" if len(markers) == 1 else "the markers"
    return PhotoRefused(
        "marker-missing",
        f"{count} at the card's {names} cannot be made out: get the whole card in the picture, "
        "with nothing over its corners and no glare on them",
    )
