"""Reserve cards: the same short ladder of speeds at the centre and the corners of a card.

It is a check strip in five places: where black begins in each tells how the dose that is needed
varies over the tile, by coat, focus and flatness, and so which reserve a recipe needs.
"""

from typing import Final

from etchproof.card import CHECK, Area, Card, Patch
from etchproof.layout.border import (
    BAND_GAP_MM,
    LABEL_MM,
    LINE_GAP_MM,
    MARGIN_MM,
    Titles,
    dots,
    label_at,
    lay_out_border,
    title,
)
from etchproof.layout.card_request import CardRequest, require_lines
from etchproof.layout.grid import cell_name
from etchproof.layout.power_card import with_true_feeds
from etchwire.catalogue.heads import Recipe

# Of the recipe's speed: black at the first ones, and beyond them the greys that tell doses apart.
SHARES: Final = (0.7, 0.85, 1.0, 1.2, 1.45, 1.75)
PATCH_MM: Final = 6.0
PATCH_HEIGHT_MM: Final = 2.4
GAP_MM: Final = 1.0
MARKER_MM: Final = 6.4
LADDER_MM: Final = LABEL_MM + LINE_GAP_MM + len(SHARES) * (PATCH_HEIGHT_MM + GAP_MM)
LEAST_WIDTH_MM: Final = 45.0
LEAST_HEIGHT_MM: Final = 2 * (MARGIN_MM + MARKER_MM + BAND_GAP_MM) + 3 * LADDER_MM

TOP, MIDDLE, BOTTOM = range(3)
PLACES: Final = {  # by the number in a cell's name: band and share of the width
    1: (TOP, 0.0), 2: (TOP, 1.0), 3: (MIDDLE, 0.5), 4: (BOTTOM, 0.0), 5: (BOTTOM, 1.0),
}  # fmt: skip


def lay_out_reserve_card(request: CardRequest, recipe: Recipe) -> Card:
    """Return the reserve card of `recipe`, as large as its place.

    Raise UnfitCard or CardDoesNotFit, with a sentence that says what would do.
    """
    spacing = recipe.line_spacing_mm
    require_lines(PATCH_HEIGHT_MM, spacing)
    if not request.place.holds(LEAST_WIDTH_MM, LEAST_HEIGHT_MM):
        raise request.place.too_small(
            LEAST_WIDTH_MM, LEAST_HEIGHT_MM, "a reserve card needs a place at least so large"
        )
    band = dots(MARGIN_MM + MARKER_MM + BAND_GAP_MM, spacing)
    high = int(request.place.height_mm / spacing) - 2 * band
    wide = int(request.place.width_mm / spacing) - 2 * dots(MARGIN_MM, spacing)
    border = lay_out_border(
        (high, wide),
        number=request.number,
        titles=Titles(
            upper=(f"CARD {request.number}", title(request.surface, 13)), lower=("RESERVE",)
        ),
        marker_mm=MARKER_MM,
        spacing_mm=spacing,
    )
    feeds = [
        feed
        for feed in (recipe.feed_mm_per_min * share for share in SHARES)
        if feed <= request.head.max_feed_mm_per_min
    ]
    patches, labels = [], []
    for place in PLACES:
        top, left = _corner(place, border.content, spacing)
        labels.append(label_at(f"{place}", (top, left), spacing))
        patches += [_patch(row, place, feed, (top, left), recipe) for row, feed in enumerate(feeds)]
    return with_true_feeds(request.card(CHECK, recipe, border, patches=patches, labels=labels))


def _corner(place: int, content: Area, spacing_mm: float) -> tuple[int, int]:
    """Return the upper left dot of a place's ladder."""
    band, share = PLACES[place]
    free_rows = content.height - dots(LADDER_MM, spacing_mm)
    free_columns = content.width - dots(PATCH_MM, spacing_mm)
    return content.top + free_rows * band // BOTTOM, content.left + round(free_columns * share)


def _patch(row: int, place: int, feed: float, corner: tuple[int, int], recipe: Recipe) -> Patch:
    spacing = recipe.line_spacing_mm
    top = corner[0] + dots(LABEL_MM + LINE_GAP_MM + row * (PATCH_HEIGHT_MM + GAP_MM), spacing)
    area = Area.at(top, corner[1], dots(PATCH_HEIGHT_MM, spacing), dots(PATCH_MM, spacing))
    return Patch.of(recipe, cell_name(row, place - 1), area, feed_mm_per_min=feed)
