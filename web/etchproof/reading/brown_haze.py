"""Brown on what was burnt: loose, scorched paint that was not wiped off.

Fired black swallows all colours alike, whatever the lamp's own colour; paint that was only scorched
swallows more blue than red (common practice, no source). How much more does not depend on how much
of a patch is burnt, so that fine dots tell it as solid patches do, and so does a brown fringe round
black that has fired well.
"""

from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchproof.card import Area, Card
from etchproof.layout.patch_core import core_of
from etchproof.reading.bare_light import ROUND_MM
from etchproof.reading.photograph import COLOUR_PX, Colour
from etchproof.reading.rectification import Matrix, apply

BRIGHT_PERCENTILE: Final = 80.0  # of a patch and what lies around it, where it is bare
LEAST_DARK: Final = 0.25  # of the bare tile's red: paler patches are lost in noise
LEAST_PATCHES: Final = 2
BROWN: Final = 1.08  # blue swallowed over red; wiped cards reach 1.05, from invented photographs

RED, BLUE = 0, 1


def is_brown(colour: Colour, mm_to_photo: Matrix, card: Card) -> bool:
    """Return whether some patches of `card` swallow more blue than red, beside the bare tile."""
    warmth = []
    for patch in card.patches:
        cells = _cells(colour, mm_to_photo, core_of(patch.area), card)
        around = _cells(colour, mm_to_photo, _with_surroundings(patch.area, card), card)
        if not len(cells):
            continue
        bright = around[:, RED] >= np.percentile(around[:, RED], BRIGHT_PERCENTILE)
        swallowed = 1 - cells.mean(axis=0) / np.maximum(around[bright].mean(axis=0), 1e-6)
        if swallowed[RED] > LEAST_DARK:
            warmth.append(float(swallowed[BLUE] / swallowed[RED]))
    return sum(one > BROWN for one in warmth) >= LEAST_PATCHES


def _with_surroundings(area: Area, card: Card) -> Area:
    around = round(ROUND_MM / card.spacing_mm)
    return Area(area.top - around, area.left - around, area.bottom + around, area.right + around)


def _cells(
    colour: Colour, mm_to_photo: Matrix, area: Area, card: Card
) -> NDArray[np.floating[Any]]:
    """Return red and blue of the cells of `colour` that lie on an area of the card, (n, 2)."""
    corners = np.array(
        [
            (area.left, area.top), (area.right, area.top), (area.right, area.bottom),
            (area.left, area.bottom),
        ],
        dtype=np.float64,
    )  # fmt: skip
    places = np.rint(apply(mm_to_photo, corners * card.spacing_mm) / COLOUR_PX - 0.5)
    low = np.clip(places.min(axis=0), 0, colour.shape[1::-1]).astype(np.int32)  # x, y
    high = np.clip(places.max(axis=0) + 1, low, colour.shape[1::-1]).astype(np.int32)
    near = colour[low[1] : high[1], low[0] : high[0]]
    inside = np.zeros(near.shape[:2], dtype=np.uint8)
    cv2.fillConvexPoly(inside, places.astype(np.int32) - low, 1)
    return near[inside > 0]
