"""Power cards: a grid of patches, speed downwards and power across.

Each cell is half solid and half photo halftone, one above the other. All patches of a row of the
grid share their rows of dots, so the head crosses the card at one speed per row, and the solid
halves reach speeds that fine detail does not.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from etchproof.card import HALFTONE, POWER, REALLY_RUN, SOLID, Area, Card, Label, Patch
from etchproof.errors import UnfitCard
from etchproof.layout.border import (
    HEADING_MM,
    LABEL_MM,
    LINE_GAP_MM,
    TITLE_LETTERS,
    Border,
    Titles,
    centred_label,
    dots,
    label_at,
    lay_out_border,
    title,
)
from etchproof.layout.card_request import CardRequest, require_lines
from etchproof.layout.etching import span_rows
from etchproof.layout.grid import LEAST_STEPS, Grid, cell_name
from etchproof.layout.patch_core import core_of
from etchproof.layout.reach import PHOTO_COVERAGE, true_feeds_mm_per_min
from etchwire.catalogue.heads import Head, Recipe


@dataclass(frozen=True, slots=True)
class Size:
    """How large the parts of a grid are, in mm; `half` is the height of a cell's solid part."""

    patch: float
    half: float
    gap: float
    marker: float

    def grid_mm(self, rows: int, columns: int) -> tuple[float, float]:
        """Return width and height of so many cells with their labels."""
        height = LABEL_MM + rows * (HEADING_MM + 2 * self.half)
        return columns * self.patch + (columns - 1) * self.gap, height


# From the preferred one down to the smallest that a phone reads well.
SIZES: Final = (
    Size(patch=7.0, half=3.0, gap=2.5, marker=8.0),
    Size(patch=6.0, half=2.4, gap=2.2, marker=6.4),
    Size(patch=5.0, half=2.0, gap=2.0, marker=6.4),
)
SMALLEST_LETTERS: Final = 13  # of a title, so that it makes the smallest card no wider

# For lasers so weak that text and markers take more time than the patches.
WEAK_SIZE: Final = Size(patch=4.5, half=1.8, gap=1.8, marker=4.8)


def lay_out_power_card(request: CardRequest, grid: Grid, sizes: Sequence[Size] = SIZES) -> Card:
    """Return the power card of `grid` in the first of `sizes` that its place has room for.

    Raise UnfitCard or CardDoesNotFit, with a sentence that says what would do.
    """
    _require_speeds(grid, request.head)
    for size in sizes:
        border = _border(request, grid, size)
        width_mm, height_mm = (
            side * request.line_spacing_mm for side in (border.columns, border.rows)
        )
        if request.place.holds(width_mm, height_mm):
            return _laid_out(request, grid, size, border)
    raise request.place.too_small(width_mm, height_mm, _advice(request))


def _require_speeds(grid: Grid, head: Head) -> None:
    fastest = grid.feeds_mm_per_min[-1]
    if fastest > head.max_feed_mm_per_min:
        raise UnfitCard(
            f"{fastest:g} mm/min is faster than {head.name} can move: choose speeds up to "
            f"{head.max_feed_mm_per_min:g} mm/min"
        )


def _border(request: CardRequest, grid: Grid, size: Size) -> Border:
    require_lines(size.half, request.line_spacing_mm)
    spacing = request.line_spacing_mm
    width_mm, height_mm = size.grid_mm(len(grid.feeds_mm_per_min), len(grid.power_ratios))
    return lay_out_border(
        (dots(height_mm, spacing), dots(width_mm, spacing)),
        number=request.number,
        titles=_titles(request, size),
        marker_mm=size.marker,
        spacing_mm=spacing,
    )


def _laid_out(request: CardRequest, grid: Grid, size: Size, border: Border) -> Card:
    spacing = request.line_spacing_mm
    patches = _patches(grid, size, border.content, spacing)
    card = request.card(POWER, _strongest(request, grid), border, patches=patches)
    card = with_true_feeds(replace(card, notes=grid.notes))
    return replace(card, labels=(*border.labels, *_grid_labels(card, grid, size, border)))


def _strongest(request: CardRequest, grid: Grid) -> Recipe:
    return Recipe(
        surface=request.surface,
        feed_mm_per_min=grid.feeds_mm_per_min[0],
        power_ratio=grid.power_ratios[-1],
        line_spacing_mm=request.line_spacing_mm,
        air_assist=request.air_assist,
    )


def _titles(request: CardRequest, size: Size) -> Titles:
    if size == WEAK_SIZE:
        return Titles(upper=(f"CARD {request.number}",), lower=())
    return Titles(
        upper=(
            f"CARD {request.number}",
            f"{request.head.rated_optical_w:g} W · {request.line_spacing_mm:.3g} MM",
            title(request.surface, SMALLEST_LETTERS if size == SIZES[-1] else TITLE_LETTERS),
        ),
        lower=("MM/MIN DOWN", "% POWER ACROSS"),
    )


def _patches(grid: Grid, size: Size, content: Area, spacing: float) -> tuple[Patch, ...]:
    patches = []
    half, width = dots(size.half, spacing), dots(size.patch, spacing)
    for row, column in grid.cells():
        top = content.top + _top_of_row(row, size, spacing)
        left = content.left + dots(column * (size.patch + size.gap), spacing)
        for part, first, coverage in (
            (SOLID, top, 1.0),
            (HALFTONE, top + half, PHOTO_COVERAGE),
        ):
            feed = grid.feeds_mm_per_min[row]
            patches.append(
                Patch(
                    cell=cell_name(row, column),
                    part=part,
                    area=Area(first, left, first + half, left + width),
                    coverage=coverage,
                    feed_mm_per_min=feed,
                    power_ratio=grid.power_ratios[column],
                    true_feed_mm_per_min=feed,
                )
            )
    return tuple(patches)


def _top_of_row(row: int, size: Size, spacing: float) -> int:
    return dots(LABEL_MM + row * (HEADING_MM + 2 * size.half) + HEADING_MM, spacing)


def with_true_feeds(card: Card) -> Card:
    """Return `card` with what the motion model says of each patch's speed."""
    cores = [core_of(patch.area) for patch in card.patches]
    feeds = true_feeds_mm_per_min(span_rows(card), cores, card.spacing_mm, card.head)
    return replace(
        card,
        patches=tuple(
            replace(patch, true_feed_mm_per_min=feed or patch.feed_mm_per_min)
            for patch, feed in zip(card.patches, feeds, strict=True)
        ),
    )


def _grid_labels(card: Card, grid: Grid, size: Size, border: Border) -> tuple[Label, ...]:
    spacing = card.spacing_mm
    top, left = border.content.top, border.content.left
    labels = []
    for column, power in enumerate(grid.power_ratios):
        middle = left + (column * (size.patch + size.gap) + size.patch / 2) / spacing
        labels.append(centred_label(f"{power * 100:.3g}", top, middle, spacing))
    for row in range(len(grid.feeds_mm_per_min)):
        heading_top = top + _top_of_row(row, size, spacing) - dots(LABEL_MM + LINE_GAP_MM, spacing)
        labels.append(label_at(_heading(card, row), (heading_top, left), spacing))
    return tuple(labels)


def _heading(card: Card, row: int) -> str:
    """Return the speed of a row, and in brackets what its fine detail reaches, where less."""
    patches = [patch for patch in card.patches if patch.cell[0] == cell_name(row, 0)[0]]
    asked = patches[0].feed_mm_per_min
    true = min(patch.true_feed_mm_per_min for patch in patches)
    return f"{asked:.0f} ({true:.0f})" if true < REALLY_RUN * asked else f"{asked:.0f}"


def _advice(request: CardRequest) -> str:
    """Say how many steps would fit, at the smallest size."""
    smallest, spacing = SIZES[-1], request.line_spacing_mm
    for steps in range(12, LEAST_STEPS - 1, -1):
        grid = Grid(
            feeds_mm_per_min=tuple(float(1000 + step) for step in range(steps)),
            power_ratios=tuple((step + 1) / 100 for step in range(steps)),
        )
        border = _border(request, grid, smallest)
        if request.place.holds(border.columns * spacing, border.rows * spacing):
            return f"{steps} speeds and {steps} powers would fit there"
    return (
        "not even two speeds and two powers fit there; give it at least "
        f"{border.columns * spacing:.0f} × {border.rows * spacing:.0f} mm"
    )
