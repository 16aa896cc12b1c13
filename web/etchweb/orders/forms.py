"""What the forms of orders say; each refusal is a sentence."""

from dataclasses import replace
from typing import Final

from etchweb.catalogue.forms import refusals_as_sentences
from etchweb.server.forms import Form, FormUnfit, number
from etchwire.calls.orders import WholeOrder
from etchwire.catalogue.orders import LARGEST_PRICE, MOST_TILES, OrderItem, OrderRecord
from etchwire.catalogue.records import LARGEST_TILE_MM

WAYS: Final = ("in the shop", "by message", "by mail", "by phone")
_HEAD: Final = ("customer", "due_on", "note", "may_use_photo_on")


def order_in(form: Form, items: tuple[OrderItem, ...]) -> OrderRecord:
    """Return the order that was typed, with `items` as they are."""
    with refusals_as_sentences():
        return OrderRecord.from_table(
            {name: form.get(name, "").strip() for name in _HEAD}
            | {"items": [item.to_table() for item in items]}
        )


def record_of(order: WholeOrder, items: tuple[OrderItem, ...]) -> OrderRecord:
    """Return a kept order with other items."""
    return OrderRecord(
        **{name: getattr(order, name) for name in _HEAD},
        items=[item.to_table() for item in items],
    )


def item_in(form: Form, known: OrderItem | None) -> OrderItem:
    """Return the item that was typed; its photo and design stay as `known` has them."""
    count = number(form, "count", "How many", least=1, most=MOST_TILES)
    if count != int(count):
        raise FormUnfit("How many: a whole number.")
    price = 0.0
    if form.get("price", "").strip():
        price = number(form, "price", "The price", least=0, most=LARGEST_PRICE)
    typed = {
        "title": form.get("title", "").strip(),
        "width_mm": number(form, "width_mm", "Width, mm", least=1, most=LARGEST_TILE_MM),
        "height_mm": number(form, "height_mm", "Height, mm", least=1, most=LARGEST_TILE_MM),
        "surface": form.get("surface", "").strip(),
        "place": form.get("place", ""),
        "text": form.get("text", "").replace("\r\n", "\n").strip(),
        "count": int(count),
        "is_set": form.get("is_set") == "yes",
        "price": price,
    }
    with refusals_as_sentences():
        item = OrderItem.from_table(typed)
    if known is None:
        return item
    return replace(
        item,
        id=known.id,
        photo_sha256=known.photo_sha256,
        design_sha256=known.design_sha256,
        draft=known.draft,
    )
