"""Brown on what is dark: loose, scorched paint that was not wiped off.

Fired black reflects all colours alike beside the bare tile, whatever the lamp's own colour; paint
that was only scorched is brown (common practice, no source). So a card that was not wiped is told
by its dark patches even where no soot lies around them.
"""

from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchproof.card import Area, Card
from etchproof.layout.patch_core import core_of
from etchproof.reading.photograph import COLOUR_PX, Colour
from etchproof.reading.rectification import Matrix, apply

BRIGHT_PERCENTILE: Final = 70.0  # most of a card is bare
DARK_SHARE: Final = 0.6  # of the bare tile's red
LEAST_PATCHES: Final = 2
BROWN: Final = 1.35  # red over blue, beside the bare tile's; from invented photographs

RED, BLUE = 0, 1


def is_brown(colour: Colour, mm_to_photo: Matrix, card: Card) -> bool:
    """Return whether the dark solid patches of `card` are brown beside its bare tile."""
    whole = _cells(colour, mm_to_photo, Area(0, 0, card.rows, card.columns), card)
    bright = whole[whole[:, RED] >= np.percentile(whole[:, RED], BRIGHT_PERCENTILE)]
    bare = bright.mean(axis=0)
    warmth = []
    for patch in card.patches:
        cells = _cells(colour, mm_to_photo, core_of(patch.area), card)
        if patch.coverage < 1 or not len(cells):
            continue
        seen = cells.mean(axis=0) / bare
        if seen[RED] < DARK_SHARE and seen[BLUE] > 0:
            warmth.append(float(seen[RED] / seen[BLUE]))
    return len(warmth) >= LEAST_PATCHES and float(np.median(warmth)) > BROWN


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
    places = apply(mm_to_photo, corners * card.spacing_mm) / COLOUR_PX - 0.5
    inside = np.zeros(colour.shape[:2], dtype=np.uint8)
    cv2.fillConvexPoly(inside, np.rint(places).astype(np.int32), 1)
    return colour[inside > 0]
