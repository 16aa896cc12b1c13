"""Spacing cards as bare geometry: every line a black band of one width."""

import numpy as np

from darkroom.tile import Tile
from etchproof.layout.drawing import draw_card
from etchproof.layout.spacing_card import spacing_of


def black_lines(card, width_mm):
    """A tile on which every line is a black band so wide: bare geometry, no surface's law."""
    px_per_mm = 1 / card.spacing_mm
    tile = 1 - 0.94 * draw_card(card)
    for patch in card.patches:
        spacing = spacing_of(card, patch)
        y_mm = (np.arange(patch.area.height) + 0.5) * card.spacing_mm
        beside = np.abs(y_mm % spacing - spacing / 2)
        covered = np.clip((width_mm / 2 - beside) * px_per_mm + 0.5, 0, 1)
        tile[patch.area.rows, patch.area.columns] = 1 - 0.94 * covered[:, None]
    return Tile(tile.astype(np.float32), px_per_mm, card)
