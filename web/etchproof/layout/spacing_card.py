"""Spacing cards: the same tone with lines closer together and further apart.

Rows of the card are a quarter of the recipe's line spacing high, and a line is burnt in every
third to seventh of them. The speed changes with the spacing so that every square millimetre gets
the same dose.
"""

from dataclasses import replace
from typing import Final

from etchproof.card import HALFTONE, SOLID, SPACING, Area, Card, Label, Patch
from etchproof.layout.border import (
    HEADING_MM,
    OVER_HEADING_MM,
    Titles,
    dots,
    label_at,
    lay_out_border,
    title,
)
from etchproof.layout.card_request import CardRequest, require_lines
from etchproof.layout.grid import cell_name
from etchproof.layout.power_card import with_true_feeds
from etchproof.layout.reach import PHOTO_COVERAGE
from etchwire.catalogue.heads import Recipe

ROWS_APART: Final = 4  # of the recipe's lines
LINES_APART: Final = ((3, 4, 5, 6, 7), (3, 4, 5, 6), (4, 5, 6))  # the most that its place holds
WIDTH_MM: Final = 8.0
HEIGHT_MM: Final = 5.0
GAP_MM: Final = 2.5
MARKER_MM: Final = 6.4


def lay_out_spacing_card(request: CardRequest, recipe: Recipe) -> Card:
    """Return the spacing card round the line spacing of `recipe`.

    Raise UnfitCard or CardDoesNotFit, with a sentence that says what would do.
    """
    for lines_apart in LINES_APART:
        card = _laid_out(request, recipe, lines_apart)
        if request.place.holds(card.width_mm, card.height_mm):
            return with_true_feeds(card)
    raise request.place.too_small(
        card.width_mm, card.height_mm, "a spacing card needs a place at least so large"
    )


def spacing_of(card: Card, patch: Patch) -> float:
    """Return how far apart the lines of a patch lie, in mm."""
    return round(patch.rows_apart * card.spacing_mm, 6)


def _laid_out(request: CardRequest, recipe: Recipe, lines_apart: tuple[int, ...]) -> Card:
    row_mm = recipe.line_spacing_mm / ROWS_APART
    require_lines(HEIGHT_MM, max(lines_apart) * row_mm)
    fitting = [
        apart
        for apart in lines_apart
        if recipe.feed_mm_per_min * ROWS_APART / apart <= request.head.max_feed_mm_per_min
    ]
    pitch_mm = HEADING_MM + HEIGHT_MM
    border = lay_out_border(
        (dots(len(fitting) * pitch_mm, row_mm), dots(2 * WIDTH_MM + GAP_MM, row_mm)),
        number=request.number,
        titles=Titles(
            upper=(f"CARD {request.number}", "LINE SPACING", title(request.surface)),
            lower=("SOLID AND HALF", request.halftone),
        ),
        marker_mm=MARKER_MM,
        spacing_mm=row_mm,
    )
    patches: list[Patch] = []
    labels: list[Label] = []
    for band, apart in enumerate(fitting):
        heading = border.content.top + dots(band * pitch_mm + OVER_HEADING_MM, row_mm)
        top = border.content.top + dots(band * pitch_mm + HEADING_MM, row_mm)
        feed = float(f"{recipe.feed_mm_per_min * ROWS_APART / apart:.3g}")
        labels.append(label_at(f"{apart * row_mm:.3g} MM", (heading, border.content.left), row_mm))
        height, width = (_whole(side_mm, row_mm, apart) for side_mm in (HEIGHT_MM, WIDTH_MM))
        for column, (part, coverage) in enumerate(((SOLID, 1.0), (HALFTONE, PHOTO_COVERAGE))):
            left = border.content.left + dots(column * (WIDTH_MM + GAP_MM), row_mm)
            patch = Patch.of(
                recipe,
                cell_name(band, 0)[:1],
                Area.at(top, left, height, width),
                part=part,
                coverage=coverage,
                feed_mm_per_min=feed,
            )
            patches.append(replace(patch, rows_apart=apart))
    card = request.card(SPACING, recipe, border, patches=patches, labels=labels)
    return replace(card, rows_apart=ROWS_APART)


def _whole(side_mm: float, row_mm: float, apart: int) -> int:
    """Return a side in rows, a whole number of lines."""
    return dots(side_mm, row_mm) // apart * apart
