"""Sizes that a picture may begin with: those of common tiles, and the last picture's. Pure."""

from typing import Final

from etchweb.text.formatting import millimetres

# What shops sell, width × height; our own list (common practice, no source).
COMMON_TILES_MM: Final = (
    (50.0, 50.0), (75.0, 150.0), (100.0, 100.0), (108.0, 108.0), (150.0, 150.0), (200.0, 200.0),
    (200.0, 300.0),
)  # fmt: skip
BARE_EDGE_MM: Final = 5.0  # all round, where glaze is rounded off (common practice, no source)
AS_LAST: Final = "last"

SizeMm = tuple[float, float]


def size_words(size_mm: SizeMm) -> str:
    """Return a size as the page says it: 90 × 140 mm."""
    return f"{millimetres(size_mm[0])} × {millimetres(size_mm[1])} mm"


def size_choices(last_mm: SizeMm | None) -> list[tuple[str, str]]:
    """Return what a form offers: value and words."""
    last = [] if last_mm is None else [(AS_LAST, f"As last time: {size_words(last_mm)}")]
    return last + [(_value(tile), f"Tile {size_words(tile)}") for tile in COMMON_TILES_MM]


def chosen_size_mm(value: str, photo_px: tuple[int, int], last_mm: SizeMm | None) -> SizeMm | None:
    """Return the picture's size for a choice of the form, turned as the photo lies; None: none."""
    sizes = {
        _value((width, height)): (width - 2 * BARE_EDGE_MM, height - 2 * BARE_EDGE_MM)
        for width, height in COMMON_TILES_MM
    }
    size = last_mm if value == AS_LAST else sizes.get(value)
    if size is None or photo_px[0] == photo_px[1]:
        return size
    low, high = sorted(size)
    return (low, high) if photo_px[0] < photo_px[1] else (high, low)


def _value(tile_mm: SizeMm) -> str:
    return f"{tile_mm[0]:g}x{tile_mm[1]:g}"
