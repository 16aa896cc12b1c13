"""What may be asked and noted of orders, and of what a tile costs the shop."""

from typing import Final

from etchwire.calls.call import Question, WholeNumber
from etchwire.calls.catalogue import Note
from etchwire.calls.history import MOST_ROWS
from etchwire.catalogue.orders import OrderItem, OrderRecord, ShopFigures
from etchwire.wire_value import WireValue


class OrderLine(WireValue):
    """An order in a list: its state, and its tiles, good ones and those still to be begun."""

    id: int
    customer: str
    due_on: str
    state: str
    tiles: int
    good: int
    to_make: int


class OrdersPage(WireValue):
    """Orders, those due first first; there are more from place `next_from` on."""

    orders: tuple[OrderLine, ...]
    total: int
    next_from: int | None


class ProofEntry(WireValue):
    """Something said of a proof; `is_current`: the item is still what was shown then."""

    answer: str
    shown_sha256: str
    way: str
    at_utc: str
    who: str
    is_current: bool


class TileEntry(WireValue):
    """A tile that was etched for an item; figures of all runs on it together."""

    run_id: int
    lot: str | None
    ended: str | None
    verdict: str | None
    elapsed_s: float
    beam_s: float


class ItemEntry(WireValue):
    """An item: its state, tiles and proofs (newest first).

    `trials` are the durability trials of its tile and paint; `test_tiles_ratio` is how many test
    cards were etched on it for each other etch.
    """

    id: int
    item: OrderItem
    fingerprint: str
    state: str
    to_make: int
    is_surface_known: bool
    trials: tuple[str, ...]
    test_tiles_ratio: float
    proofs: tuple[ProofEntry, ...]
    tiles: tuple[TileEntry, ...]


class WholeOrder(WireValue):
    """An order with its items; `version` goes up with every change."""

    id: int
    version: int
    customer: str
    due_on: str
    note: str
    may_use_photo_on: str
    state: str
    who: str
    at_utc: str
    changed_at_utc: str
    forgotten_at_utc: str | None
    items: tuple[ItemEntry, ...]


class ShopEntry(WireValue):
    """What a tile costs the shop; `who` is empty where nobody has said it yet."""

    figures: ShopFigures
    who: str
    changed_at_utc: str


class Orders(Question[OrdersPage]):
    """Orders, open or done, sorted by the day they are due, from place `from_place` on."""

    is_done: bool = False
    from_place: WholeNumber = 0
    limit: WholeNumber = MOST_ROWS


class Order(Question[WholeOrder]):
    """One order with its items, their proofs and their tiles."""

    id: WholeNumber


class Shop(Question[ShopEntry]):
    """What a tile costs the shop."""


class SaveOrder(Note):
    """Write down a new order, or change order `id`, which must still be of `version`."""

    order: OrderRecord
    id: WholeNumber | None = None
    version: WholeNumber = 0


class AddOrders(Note):
    """Write down many orders, all or none: a JSON list of them, packed.

    One whose item names a picture that is an item's already is the same list sent again: nothing
    is written, and the answer is the number that its last order was given then.
    """

    orders_packed: str


class NoteProof(Note):
    """Note that an item's proof was shown, was answered yes or no, or its picture was changed.

    *yes* is taken only for the `shown_sha256` that the item has now; `way` is how it came.
    A picture that lies over several tiles makes the item a matching set (`is_set`).
    """

    item: WholeNumber
    answer: str
    shown_sha256: str = ""
    way: str = ""
    design_sha256: str = ""
    draft: str = ""
    is_set: bool = False


class ForgetOrder(Note):
    """Delete who an order was for, and all that shows it: name, note, texts, photo and design."""

    id: WholeNumber


class SaveShop(Note):
    """Say what a tile costs the shop."""

    figures: ShopFigures


ORDER_QUESTIONS: Final = (Orders, Order, Shop)
ORDER_NOTES: Final[tuple[type[Note], ...]] = (
    SaveOrder, AddOrders, NoteProof, ForgetOrder, SaveShop,
)  # fmt: skip
