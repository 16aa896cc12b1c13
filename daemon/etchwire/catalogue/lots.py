"""Painting lots: the tiles that were painted together, and what may be done with them.

The lot is what comes out alike, not the tile. Pure: rules take a lot and a time, and say yes or no.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from etchwire.catalogue.records import (
    COATS_LIMIT,
    LARGEST_TILE_MM,
    NAME_LIMIT,
    TEXT_LIMIT,
    require_name,
    require_one_of,
    require_short,
)
from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_types

FROST_RATED: Final = ("unknown", "yes", "no")
OVERNIGHT_H: Final = 12.0  # "leave it overnight": common practice, no source
LONGEST_DRYING_H: Final = 2_400.0
MOST_TILES: Final = 10_000
HEAVIEST_G: Final = 100_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot(Plain):
    """Tiles painted together for one surface; 0 and empty: not known."""

    name: str
    surface: str
    painted_at_utc: str
    tile: str = ""  # its make and kind
    box: str = ""
    tiles: int = 0
    width_mm: float = 0.0  # as measured
    height_mm: float = 0.0
    tolerance_mm: float = 0.0  # how far single tiles differ from that
    warp_mm: float = 0.0
    whiteness: str = ""  # the group of whiteness, as the shop sorts them
    frost_rated: str = FROST_RATED[0]
    can: str = ""
    coats: int = 0
    weight_gained_g: float = 0.0  # by paint, over the whole lot
    dry_after_h: float = 0.0  # 0: as told of an earlier lot with this paint, else overnight
    notes: str = ""

    def __post_init__(self) -> None:
        """Refuse what says nothing or too much."""
        require_types("the lot", self)
        require_name("lot", self.name)
        require_name("tile and paint", self.surface)
        for name in ("tile", "box", "whiteness", "can"):
            require_short(f"the lot's {name}", getattr(self, name), NAME_LIMIT)
        require_short("the lot's notes", self.notes, TEXT_LIMIT)
        require_one_of("frost-rated", self.frost_rated, FROST_RATED)
        for name, (words, most) in _MOST.items():
            if not 0 <= getattr(self, name) <= most:
                raise UnreadableSheet(f"{words} must be from 0 to {most:g}")
        painted_at(self)


_MOST: Final = {
    "tiles": ("the number of tiles", MOST_TILES),
    "width_mm": ("the width in mm", LARGEST_TILE_MM),
    "height_mm": ("the height in mm", LARGEST_TILE_MM),
    "tolerance_mm": ("the tolerance in mm", 10.0),
    "warp_mm": ("the warp in mm", 20.0),
    "coats": ("the number of coats", COATS_LIMIT),
    "weight_gained_g": ("the weight gained in g", HEAVIEST_G),
    "dry_after_h": ("the hours until it is dry", LONGEST_DRYING_H),
}


def painted_at(lot: Lot) -> datetime:
    """Return when `lot` was painted; raise UnreadableSheet where that is no moment."""
    try:
        when = datetime.fromisoformat(lot.painted_at_utc)
    except ValueError:
        when = datetime.min  # noqa: DTZ901 - refused below
    if when.tzinfo is None:
        raise UnreadableSheet(
            f"painted at {lot.painted_at_utc!r:.40} is no moment: write it as "
            "2026-11-25T17:00+00:00"
        )
    return when.astimezone(UTC)


def dry_at_utc(lot: Lot, dry_after_h: float) -> str:
    """Return when `lot` is dry, in ISO 8601."""
    return (painted_at(lot) + timedelta(hours=dry_after_h)).isoformat(timespec="seconds")


def is_dry(dry_at: str, now_utc: str) -> bool:
    """Return whether paint that is dry at one moment is so at another, both in ISO 8601."""
    return datetime.fromisoformat(dry_at) <= datetime.fromisoformat(now_utc)


def offered(dry_at_by_name: Mapping[str, str], now_utc: str) -> list[str]:
    """Return the names of the lots that may be etched at a moment, in their order."""
    return [name for name, dry_at in dry_at_by_name.items() if is_dry(dry_at, now_utc)]


def set_fault(lots: Iterable[str]) -> str | None:
    """Return why tiles of these lots may not hang side by side; None where they may.

    A matching set and a picture over several tiles take one lot: whites of two lots differ.
    """
    names = sorted(set(lots))
    if len(names) < 2:
        return None
    return (
        f"Tiles of one set come from one lot, not from {' and '.join(names)}: "
        "beside each other their whites differ."
    )
