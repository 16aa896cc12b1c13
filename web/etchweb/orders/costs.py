"""What tiles and orders cost the shop, from what was run and from figures entered once: pure.

A tile that was judged bad cost as much as a good one; the shop bears it, so it stands apart as a
remake. Figures are in the shop's money, rounded only where they are shown.
"""

from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass, fields
from typing import Final

from etchwire.calls.orders import ItemEntry, TileEntry, WholeOrder
from etchwire.catalogue.orders import ShopFigures
from etchwire.catalogue.records import GOOD

_SECONDS_PER_HOUR: Final = 3600.0
_MINUTES_PER_HOUR: Final = 60.0
KINDS_OF_WORK: Final = ("prepare_min", "paint_min", "load_min", "wipe_min", "pack_min")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What something cost, by what it went into."""

    machine: float = 0.0
    labour: float = 0.0
    tile: float = 0.0
    paint: float = 0.0
    filter: float = 0.0
    lens: float = 0.0
    test_tiles: float = 0.0

    @property
    def total(self) -> float:
        """All of it together."""
        return float(sum(astuple(self)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What an item or an order cost: good tiles, remakes, and what is paid for the good ones."""

    good_tiles: int
    remade_tiles: int
    made: Cost
    remakes: Cost
    paid: float

    @property
    def cost(self) -> float:
        """What all its tiles cost together."""
        return self.made.total + self.remakes.total

    @property
    def margin(self) -> float:
        """What is left of the price."""
        return self.paid - self.cost


def tile_cost(tile: TileEntry, figures: ShopFigures, *, test_tiles_ratio: float) -> Cost:
    """Return what one tile cost, with its share of the test tiles of its tile and paint."""
    hours, beam_h = tile.elapsed_s / _SECONDS_PER_HOUR, tile.beam_s / _SECONDS_PER_HOUR
    minutes = sum(getattr(figures, kind) for kind in KINDS_OF_WORK)
    return Cost(
        machine=hours * figures.machine_per_h,
        labour=minutes / _MINUTES_PER_HOUR * figures.labour_per_h,
        tile=figures.tile,
        paint=figures.paint,
        filter=_worn(figures.filter, hours, figures.filter_life_h),
        lens=_worn(figures.lens, beam_h, figures.lens_life_h),
        test_tiles=test_tiles_ratio * (figures.tile + figures.paint),
    )


def item_account(entry: ItemEntry, figures: ShopFigures) -> Account:
    """Return what an item's tiles cost so far; one that nobody has judged yet is left out."""
    judged = [tile for tile in entry.tiles if tile.verdict is not None]
    good = [tile for tile in judged if tile.verdict == GOOD]
    bad = [tile for tile in judged if tile.verdict != GOOD]
    share = entry.test_tiles_ratio

    def cost_of(tiles: Sequence[TileEntry]) -> Cost:
        return _sum(tile_cost(tile, figures, test_tiles_ratio=share) for tile in tiles)

    return Account(
        good_tiles=len(good),
        remade_tiles=len(bad),
        made=cost_of(good),
        remakes=cost_of(bad),
        paid=entry.item.price * min(len(good), entry.item.count),
    )


def order_account(order: WholeOrder, figures: ShopFigures) -> Account:
    """Return what an order cost so far."""
    items = [item_account(entry, figures) for entry in order.items]
    return Account(
        good_tiles=sum(one.good_tiles for one in items),
        remade_tiles=sum(one.remade_tiles for one in items),
        made=_sum(one.made for one in items),
        remakes=_sum(one.remakes for one in items),
        paid=sum(one.paid for one in items),
    )


BOOK_COLUMNS: Final = (
    "order", "item", "good_tiles", "remade_tiles", *(one.name for one in fields(Cost)),
    "remakes", "cost", "paid", "margin", "currency",
)  # fmt: skip


def book_rows(order: WholeOrder, figures: ShopFigures) -> list[tuple[object, ...]]:
    """Return a row of BOOK_COLUMNS for each item; the books need no names."""
    rows: list[tuple[object, ...]] = []
    for entry in order.items:
        account = item_account(entry, figures)
        amounts = (*astuple(account.made), account.remakes.total, account.cost, account.paid)
        rows.append(
            (
                order.id,
                entry.id,
                account.good_tiles,
                account.remade_tiles,
                *(f"{amount:.2f}" for amount in (*amounts, account.margin)),
                figures.currency,
            )
        )
    return rows


def _worn(price: float, used_h: float, life_h: float) -> float:
    return price * used_h / life_h if life_h else 0.0


def _sum(costs: Iterable[Cost]) -> Cost:
    listed = [astuple(cost) for cost in costs]
    names = [one.name for one in fields(Cost)]
    return Cost(**{name: sum(row[place] for row in listed) for place, name in enumerate(names)})
