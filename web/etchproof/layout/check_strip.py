"""Check strips: solid patches with a recipe's power, one under the other, from slower to faster.

A strip of 20 × 100 mm with one photo says whether a recipe holds on a new can or box of tiles. Its
rows run across it, so that every patch has a speed of its own and little way is lost.
"""

from dataclasses import replace
from typing import Final

from etchproof.card import CHECK, Area, Card, Patch
from etchproof.errors import UnfitCard
from etchproof.layout.border import (
    BAND_GAP_MM,
    LABEL_MM,
    MARGIN_MM,
    Border,
    centred_label,
    corner_markers,
    dots,
)
from etchproof.layout.card_request import CardRequest, require_lines
from etchproof.layout.grid import cell_name
from etchproof.layout.markers import MODULES
from etchproof.layout.power_card import with_true_feeds
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, Recipe, dose_j_per_mm2

WIDTH_MM: Final = 20.0
HEIGHT_MM: Final = 100.0
MARKER_MM: Final = 6.4
PATCH_MM: Final = 12.0
PATCH_HEIGHT_MM: Final = 3.6
LABEL_GAP_MM: Final = 0.35
PITCH_MM: Final = LABEL_GAP_MM + LABEL_MM + LABEL_GAP_MM + PATCH_HEIGHT_MM

# Steps of speed, small beside a reserve; from what an old diode or a thick coat needs to what
# another paint may do with (our choice).
STEP: Final = 1.09
SLOWER: Final = 5
FASTER: Final = 6
LEAST_PATCHES: Final = 3


def lay_out_check_strip(request: CardRequest, recipe: Recipe) -> Card:
    """Return the check strip of `recipe`; the spacing and air assist are the recipe's.

    Raise UnfitCard or CardDoesNotFit, with a sentence that says what would do.
    """
    spacing = recipe.line_spacing_mm
    require_lines(PATCH_HEIGHT_MM, spacing)
    if not request.place.holds(WIDTH_MM, HEIGHT_MM):
        raise request.place.too_small(
            WIDTH_MM, HEIGHT_MM, "lay the strip so that its long side points away from you"
        )
    feeds, notes = _feeds(request, recipe)
    top = dots(MARGIN_MM + MARKER_MM + BAND_GAP_MM, spacing)
    middle = WIDTH_MM / 2 / spacing
    labels = [centred_label(f"CARD {request.number}", top, middle, spacing)]
    patches = []
    for row, feed in enumerate(feeds):
        name = cell_name(row, 0)[:1]
        heading = top + dots(LABEL_MM + row * PITCH_MM + LABEL_GAP_MM, spacing)
        labels.append(centred_label(f"{name} {feed:.0f}", heading, middle, spacing))
        patches.append(_patch(name, feed, row, top, recipe))
    size = (dots(HEIGHT_MM, spacing), dots(WIDTH_MM, spacing))
    module = max(1, dots(MARKER_MM / MODULES, spacing))
    border = Border(
        *size,
        content=Area.at(0, 0, *size),
        markers=corner_markers(request.number, size, spacing, module),
        labels=tuple(labels),
    )
    card = request.card(CHECK, recipe, border, patches=patches)
    return with_true_feeds(replace(card, notes=notes))


def _feeds(request: CardRequest, recipe: Recipe) -> tuple[list[float], tuple[str, ...]]:
    """Return the speeds from slow to fast, and why there are fewer than usual."""
    all_feeds = [
        recipe.feed_mm_per_min * STEP**step
        if step
        else recipe.feed_mm_per_min  # to the last digit: it is compared with the recipe
        for step in range(-SLOWER, FASTER + 1)
    ]
    notes = []
    feeds = [feed for feed in all_feeds if feed <= request.head.max_feed_mm_per_min]
    if len(feeds) < len(all_feeds):
        notes.append("There are fewer fast patches: the recipe is near this laser's highest speed.")
    power_w = request.head.rated_optical_w * recipe.power_ratio
    spacing = recipe.line_spacing_mm
    mild = [
        feed
        for feed in feeds
        if feed >= recipe.feed_mm_per_min
        or dose_j_per_mm2(power_w=power_w, feed_mm_per_min=feed, line_spacing_mm=spacing)
        <= MOST_DOSE_J_PER_MM2
    ]
    if len(mild) < len(feeds):
        notes.append(
            "There are fewer slow patches: no surface is known to need more than "
            f"{MOST_DOSE_J_PER_MM2:g} J/mm²."
        )
    if len(mild) < LEAST_PATCHES:
        raise UnfitCard(
            "the recipe is so near this laser's highest speed that a check strip has nothing to "
            "compare it with: etch a power card"
        )
    return mild, tuple(notes)


def _patch(name: str, feed: float, row: int, top: int, recipe: Recipe) -> Patch:
    spacing = recipe.line_spacing_mm
    first = top + dots(LABEL_MM + (row + 1) * PITCH_MM - PATCH_HEIGHT_MM, spacing)
    left = dots((WIDTH_MM - PATCH_MM) / 2, spacing)
    area = Area.at(first, left, dots(PATCH_HEIGHT_MM, spacing), dots(PATCH_MM, spacing))
    return Patch.of(recipe, name, area, feed_mm_per_min=feed)
