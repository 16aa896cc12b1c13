"""Tone cards: steps of coverage, evenly spaced in lightness, with a recipe and its halftone."""

from dataclasses import replace
from itertools import product
from typing import Final

import numpy as np

from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.tone import GUESSED_BLACK
from etchproof.card import TONE, Area, Card, Label, Patch
from etchproof.errors import UnfitCard
from etchproof.layout.border import (
    HEADING_MM,
    LABEL_MM,
    LINE_GAP_MM,
    Titles,
    centred_label,
    dots,
    lay_out_border,
    title,
)
from etchproof.layout.card_request import CardRequest, require_lines
from etchproof.layout.power_card import with_true_feeds
from etchwire.catalogue.halftones import halftone_name
from etchwire.catalogue.heads import Recipe

DEFAULT_STEPS: Final = 20
LEAST_STEPS: Final = 6  # fewer make no curve
MOST_STEPS: Final = 40
COLUMNS: Final = (5, 7, 10)  # a low place takes a wide card
STEP: Final = "step"

_SIZES_MM: Final = ((8.0, 8.0), (6.4, 6.4), (5.0, 6.4))  # a patch's side, a marker's
_GAP_MM: Final = 2.5


def coverages(steps: int, black: float = GUESSED_BLACK) -> tuple[float, ...]:
    """Return `steps` coverages from 0 to 1 that would be evenly spaced in L*.

    They would be if a dot covered just its own square (Murray-Davies with `black` as the
    reflectance of the solid beside the bare tile); dots that spread make the steps uneven, not
    useless.
    """
    if not LEAST_STEPS <= steps <= MOST_STEPS:
        raise UnfitCard(f"a tone card has {LEAST_STEPS} to {MOST_STEPS} steps, not {steps}")
    if not 0 <= black < 1:
        raise UnfitCard(f"fired black cannot reflect {black:g} of what the bare tile does")
    darkest = float(lightness(np.array(black)))
    luminance = luminance_of_lightness(np.linspace(100, darkest, steps))
    spread = (1 - luminance) / (1 - black)
    return tuple(round(min(1.0, max(0.0, float(share))), 4) for share in spread)


def lay_out_tone_card(
    request: CardRequest,
    recipe: Recipe,
    *,
    steps: int = DEFAULT_STEPS,
    black: float = GUESSED_BLACK,
) -> Card:
    """Return the tone card of `recipe`; the spacing and air assist are the recipe's.

    Raise UnfitCard or CardDoesNotFit, with a sentence that says what would do.
    """
    shares = coverages(steps, black)
    request = replace(request, line_spacing_mm=recipe.line_spacing_mm)
    for (side_mm, marker_mm), columns in product(_SIZES_MM, COLUMNS):
        card = _laid_out(
            request, recipe, shares, side_mm=side_mm, marker_mm=marker_mm, columns=columns
        )
        if request.place.holds(card.width_mm, card.height_mm):
            return with_true_feeds(card)
    card = _laid_out(
        request, recipe, shares, side_mm=side_mm, marker_mm=marker_mm, columns=COLUMNS[0]
    )
    raise request.place.too_small(
        card.width_mm,
        card.height_mm,
        f"this is the smallest that {steps} steps need; give it more room, or fewer steps",
    )


def _laid_out(
    request: CardRequest,
    recipe: Recipe,
    shares: tuple[float, ...],
    *,
    side_mm: float,
    marker_mm: float,
    columns: int,
) -> Card:
    spacing = recipe.line_spacing_mm
    require_lines(side_mm, spacing)
    columns = min(columns, len(shares))
    rows = -(-len(shares) // columns)
    pitch_mm = HEADING_MM + side_mm
    border = lay_out_border(
        (dots(rows * pitch_mm, spacing), dots(columns * (side_mm + _GAP_MM) - _GAP_MM, spacing)),
        number=request.number,
        titles=Titles(
            upper=(
                f"CARD {request.number}",
                f"{recipe.feed_mm_per_min:.0f} · {recipe.power_ratio * 100:.3g}%",
                title(request.surface),
            ),
            lower=("% BURNT", halftone_name(request.halftone)),
        ),
        marker_mm=marker_mm,
        spacing_mm=spacing,
    )
    patches, labels = [], []
    for number, share in enumerate(shares):
        row, column = divmod(number, columns)
        top = border.content.top + dots((row + 1) * pitch_mm - side_mm, spacing)
        left = border.content.left + dots(column * (side_mm + _GAP_MM), spacing)
        side = dots(side_mm, spacing)
        area = Area.at(top, left, side, side)
        patches.append(Patch.of(recipe, f"{number + 1}", area, part=STEP, coverage=share))
        labels.append(_label(share, area, spacing))
    return request.card(TONE, recipe, border, patches=patches, labels=labels)


def _label(share: float, area: Area, spacing_mm: float) -> Label:
    top = area.top - dots(LABEL_MM + LINE_GAP_MM, spacing_mm)
    return centred_label(f"{share * 100:.0f}", top, (area.left + area.right) / 2, spacing_mm)
