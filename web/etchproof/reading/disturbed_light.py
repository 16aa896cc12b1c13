"""What disturbs the light on a card: glare, a shadow, or soot that was not wiped off.

Each is seen on the bare tile, as how far its light lies from a smooth surface over the card.
Glare is brighter and nothing is darker; a shadow leaves a darker side beside a brighter one;
soot makes bare tile darker the more was burnt around it.
"""

from enum import StrEnum
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchproof.card import Area, Card
from etchproof.layout.drawing import draw_card
from etchproof.reading.bare_light import LEAST_CELLS, BareLight

Floats = NDArray[np.floating[Any]]

# Logarithms of light, and shares of bare cells; from invented photographs, see `test_disturbed`.
DISTURBED: Final = 0.04
DISTURBED_SHARE: Final = 0.01
DARKER_TO_BRIGHTER: Final = 0.5  # beside glare hardly any bare tile is darker than the smooth light
STEP: Final = 0.06  # what the light jumps where the edge of a hard shadow crosses
STEP_SHARE: Final = 0.05
UNCORRECTED: Final = 0.015  # scatter about a patch's own plane of light that misreads it

SOOT_REACH_MM: Final = 1.5
SOOT_CELL_MM: Final = 0.25
SOOTED: Final = -0.02  # a clean card has no slope beyond 0.005
SOOT_CORRELATION: Final = -0.35  # a shadow that happens to lie there reaches -0.25


class Disturbance(StrEnum):
    """What disturbs the light on a whole card; the words name a photo's fault."""

    NONE = "none"
    GLARE = "glare"
    HARD_SHADOW = "hard-shadow"
    SOFT_SHADOW = "soft-shadow"


def disturbance_of(bare: BareLight, card: Card) -> Disturbance:
    """Return what disturbs the light most."""
    deviations = bare.deviations
    brighter = float((deviations > DISTURBED).mean())
    darker = float((deviations < -DISTURBED).mean())
    if max(brighter, darker) < DISTURBED_SHARE:
        return Disturbance.NONE
    if darker < DARKER_TO_BRIGHTER * brighter:
        return Disturbance.GLARE
    is_hard = any(
        float((np.abs(own_deviations(bare, patch.area, card.spacing_mm)) > STEP).mean())
        > STEP_SHARE
        for patch in card.patches
    )
    return Disturbance.HARD_SHADOW if is_hard else Disturbance.SOFT_SHADOW


def own_deviations(bare: BareLight, area: Area, spacing_mm: float) -> Floats:
    """Return how far bare tile around `area` lies from the plane of light that corrects it."""
    here = bare.around(area, spacing_mm)
    if here.sum() < LEAST_CELLS:
        return np.zeros(1)
    x, y = bare.x_mm[here], bare.y_mm[here]
    terms = np.column_stack([np.ones(len(x)), x - x.mean(), y - y.mean()])
    light = bare.deviations[here]
    off: Floats = light - terms @ np.linalg.lstsq(terms, light, rcond=None)[0]
    return off


def is_sooted(bare: BareLight, card: Card) -> bool:
    """Return whether bare tile is darker the more was burnt around it."""
    around = _burnt_around(card)
    rows, columns = (
        np.clip((at_mm / SOOT_CELL_MM).astype(int), 0, cells - 1)
        for at_mm, cells in zip((bare.y_mm, bare.x_mm), around.shape, strict=True)
    )
    burnt_around, deviations = around[rows, columns], bare.deviations
    slope = float(np.polyfit(burnt_around, deviations, 1)[0])
    return slope < SOOTED and float(np.corrcoef(burnt_around, deviations)[0, 1]) < SOOT_CORRELATION


def _burnt_around(card: Card) -> Floats:
    """Return how much of the tile is burnt about each cell of SOOT_CELL_MM, as far as soot reaches.

    Cells far smaller than the reach say the same as a card's dots, for a fraction of the work.
    """
    size = tuple(
        max(1, round(dots * card.spacing_mm / SOOT_CELL_MM)) for dots in (card.columns, card.rows)
    )
    burnt = cv2.resize(draw_card(card).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(
        cv2.GaussianBlur(burnt, (0, 0), SOOT_REACH_MM / SOOT_CELL_MM), dtype=np.float32
    )
