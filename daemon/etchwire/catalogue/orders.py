"""Orders: who wants which tiles by when, as the logbook keeps them.

They travel as tables whose entries have these names, as `etchwire.catalogue.records` does it.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from etchwire.catalogue.records import (
    DATE,
    LARGEST_TILE_MM,
    NAME_LIMIT,
    TEXT_LIMIT,
    require_name,
    require_one_of,
    require_short,
)
from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_positive, require_types
from etchwire.transport.json_text import JsonTable

# Where a tile will live, and the durability trials that would tell whether it lasts there.
TRIALS_OF_PLACE: Final[Mapping[str, tuple[str, ...]]] = {
    "wall": (),
    "coaster": ("scouring",),
    "dishwasher": ("dishwasher",),
    "outdoors": ("freezing",),
}
SHOWN, YES, NO, CHANGED = "shown", "yes", "no", "changed"
PROOF_ANSWERS: Final = (SHOWN, YES, NO, CHANGED)
MOST_TILES: Final = 1_000
MOST_ITEMS: Final = 60
MOST_ORDERS: Final = 500  # taken at once
ITEMS_LIMIT: Final = 30_000
LARGEST_PRICE: Final = 1e6
_SHA256: Final = re.compile(r"([0-9a-f]{64})?")


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderItem(Plain):
    """So many tiles alike; `id` is 0 until the logbook gives it one.

    `design_sha256` is that of the picture as it was shown last (crop and look are in it), `text`
    what the customer wrote of names and dates. `price` is for one tile, in the shop's money.
    """

    title: str  # what the shop calls the photo or design: a file's name, say
    width_mm: float
    height_mm: float
    surface: str
    count: int = 1
    place: str = "wall"
    text: str = ""
    photo_sha256: str = ""
    design_sha256: str = ""
    draft: str = ""  # of the page: the picture in the making
    is_set: bool = False  # a matching set, or one picture over several tiles
    price: float = 0.0
    id: int = 0

    def __post_init__(self) -> None:
        """Refuse what nobody could make."""
        require_types("the item", self)
        require_name("photo or design", self.title)
        require_name("tile and paint", self.surface)
        require_short("the names and dates", self.text, TEXT_LIMIT)
        require_short("the draft", self.draft, NAME_LIMIT)
        require_one_of("where it will live", self.place, tuple(TRIALS_OF_PLACE))
        for name, most in (("width_mm", LARGEST_TILE_MM), ("height_mm", LARGEST_TILE_MM)):
            require_positive(f"the item's {name}", getattr(self, name))
            if getattr(self, name) > most:
                raise UnreadableSheet(f"the item's {name} is at most {most}")
        if not 1 <= self.count <= MOST_TILES:
            raise UnreadableSheet(f"an item is 1 to {MOST_TILES} tiles, not {self.count}")
        if not 0 <= self.price <= LARGEST_PRICE:
            raise UnreadableSheet(f"a tile's price is from 0 to {LARGEST_PRICE:g}")
        if not (_SHA256.fullmatch(self.photo_sha256) and _SHA256.fullmatch(self.design_sha256)):
            raise UnreadableSheet("a photo and a design are named by their SHA-256")

    @property
    def fingerprint(self) -> str:
        """SHA-256 of what a customer is shown: picture, names and dates, size."""
        shown = [self.design_sha256 or self.photo_sha256, self.text, self.width_mm, self.height_mm]
        return sha256(json.dumps(shown).encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRecord(Plain):
    """An order to be kept; `items` are tables of `OrderItem`."""

    customer: str  # a name or nickname
    due_on: str = ""  # a date, 2026-11-25; empty: when it suits
    note: str = ""
    may_use_photo_on: str = ""  # the date of the customer's yes to showing the photo; empty: no
    items: Sequence[JsonTable] = ()

    def __post_init__(self) -> None:
        """Refuse what is no order."""
        require_types("the order", self)
        require_name("customer", self.customer)
        require_short("the order's note", self.note, TEXT_LIMIT)
        for name in ("due_on", "may_use_photo_on"):
            if not DATE.fullmatch(getattr(self, name)):
                raise UnreadableSheet(
                    f"{getattr(self, name)!r:.40} is no date: write it as 2026-11-25"
                )
        if not isinstance(self.items, (list, tuple)) or len(self.items) > MOST_ITEMS:
            raise UnreadableSheet(f"an order has a list of at most {MOST_ITEMS} items")
        require_short("the order's items", json.dumps(self.items), ITEMS_LIMIT)
        self.parts()

    def parts(self) -> tuple[OrderItem, ...]:
        """Return its items; raise UnreadableSheet."""
        if not all(isinstance(one, Mapping) for one in self.items):
            raise UnreadableSheet("an item of an order must be a table")
        return tuple(OrderItem.from_table(one) for one in self.items)


def orders_in(text: str) -> tuple[OrderRecord, ...]:
    """Return the orders of a JSON list; raise UnreadableSheet for anything else, or too many."""
    try:
        tables = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise UnreadableSheet("this is no list of orders") from error
    if not isinstance(tables, list) or not 1 <= len(tables) <= MOST_ORDERS:
        raise UnreadableSheet(f"1 to {MOST_ORDERS} orders are taken at once")
    if not all(isinstance(one, dict) for one in tables):
        raise UnreadableSheet("an order must be a table")
    return tuple(OrderRecord.from_table(one) for one in tables)


def place_warning(item: OrderItem, trials: Sequence[str]) -> str:
    """Return why tiles of this kind may not last where they will live; empty where a trial was.

    `trials` are those that strips on its tile and paint went through.
    """
    untested = [one for one in TRIALS_OF_PLACE[item.place] if one not in trials]
    if not untested:
        return ""
    return (
        f"Nobody has tried {item.surface} for this ({item.place}): no check strip on it went "
        f"through {' or '.join(untested)}. Say so to the customer before it is made."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopFigures(Plain):
    """What a tile costs the shop, entered once; minutes are of work for one tile."""

    currency: str = "EUR"
    machine_per_h: float = 0.0
    labour_per_h: float = 0.0
    prepare_min: float = 0.0
    paint_min: float = 0.0
    load_min: float = 0.0
    wipe_min: float = 0.0
    pack_min: float = 0.0
    tile: float = 0.0
    paint: float = 0.0  # for one tile
    filter: float = 0.0
    filter_life_h: float = 0.0  # of etching; 0: not counted
    filter_limit_h: float = 0.0  # of beam, after which it is to be changed; 0: no limit
    lens: float = 0.0
    lens_life_h: float = 0.0  # of beam

    def __post_init__(self) -> None:
        """Refuse figures below nothing."""
        require_types("the shop", self)
        require_name("currency", self.currency)
        for name in self.__slots__:
            value = getattr(self, name)
            if isinstance(value, float) and not 0 <= value <= LARGEST_PRICE:
                raise UnreadableSheet(f"{name} must be from 0 to {LARGEST_PRICE:g}")
