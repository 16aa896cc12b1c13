"""The middle of a patch: the only part that is read.

Blur and the lens move what a camera sees at a patch's edge; at one per cent of lens distortion
the corners of a tile are off by 0.2 mm (measured on renderings).
"""

from typing import Final

from etchproof.card import Area

TRIM: Final = 0.25  # of width and height, off each side: common practice, no source


def core_of(area: Area) -> Area:
    """Return the middle of `area`, at least one dot."""
    rows = min(round(area.height * TRIM), (area.height - 1) // 2)
    columns = min(round(area.width * TRIM), (area.width - 1) // 2)
    return Area(area.top + rows, area.left + columns, area.bottom - rows, area.right - columns)
