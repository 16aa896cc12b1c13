"""What is written of orders, their proofs and the shop's figures; see `entries`."""

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.schema.catalogue_steps import LOT_OF_TILE
from etchdaemon.logbook.write.insert_statements import Stamp, insert, put, require
from etchwire.calls.orders import NoteProof, SaveOrder
from etchwire.catalogue.orders import (
    CHANGED,
    SHOWN,
    YES,
    OrderItem,
    OrderRecord,
    ShopFigures,
)

FORGOTTEN: Final = "deleted"
_NOT_SHOWN: Final = (
    "This is not what was shown: picture, names or size were changed meanwhile. Show the proof "
    "again, and ask again."
)
_ITEM_OF_DRAFTS: Final = """
    SELECT order_id, draft FROM order_item
    WHERE draft <> '' AND draft IN (SELECT value FROM json_each(?)) ORDER BY id DESC LIMIT 1
"""
_LOTS_OF_SET: Final = f"""
    SELECT {LOT_OF_TILE} AS lot FROM run_tile JOIN run ON run.id = run_id WHERE item_id = ?1
    UNION SELECT lot FROM assignment JOIN run ON assignment_id = assignment.id WHERE item_id = ?1
"""  # noqa: S608 (made of constants)
_FORGET: Final = {"title": FORGOTTEN, "text": "", "photo_sha256": "", "draft": ""}


def save_order(book: sqlite3.Connection, *, call: SaveOrder, stamp: Stamp) -> int | None:
    """Write a new order, or change one that nobody changed meanwhile; raise CommandRefused."""
    if call.id is None:
        return _new_order(book, call.order, stamp)
    _require_version(book, call.id, call.version)
    _touch(book, call.id, stamp, **_columns(call.order))
    kept = {
        item_id: json.loads(table)
        for item_id, table in book.execute(
            "SELECT id, item_json FROM order_item WHERE order_id = ?", (call.id,)
        )
    }
    items = call.order.parts()
    numbers = [item.id for item in items if item.id]
    if len(numbers) > len(set(numbers)):
        raise CommandRefused("An item stands twice in this order.")
    for item in items:
        if item.id and item.id not in kept:
            raise CommandRefused(f"Order {call.id} has no item {item.id}.")
    for item_id in kept.keys() - {item.id for item in items}:
        _remove_item(book, item_id)
    _write_items(book, call.id, items, stamp)
    return call.id


def add_orders(
    book: sqlite3.Connection, *, orders: Sequence[OrderRecord], stamp: Stamp
) -> int | None:
    """Write new orders, all or none; return the last one's number.

    Orders whose pictures are known are the same list sent again: it was taken already.
    """
    return _last_of_taken(book, orders) or [_new_order(book, one, stamp) for one in orders][-1]


def _last_of_taken(book: sqlite3.Connection, orders: Sequence[OrderRecord]) -> int | None:
    """Return the number that the last of `orders` has, where any of them was taken already."""
    places = {item.draft: place for place, one in enumerate(orders) for item in one.parts()}
    places.pop("", None)
    newest = book.execute(_ITEM_OF_DRAFTS, (json.dumps(list(places)),)).fetchone()
    if newest is None:
        return None
    order_id, draft = newest
    return int(order_id) - places[draft] + len(orders) - 1


def note_proof(book: sqlite3.Connection, *, call: NoteProof, stamp: Stamp) -> int | None:
    """Write what was said of a proof, and the picture that it shows; raise CommandRefused.

    *yes* is to what was shown: where the item is another by now it has to be shown again.
    """
    require(book, "order_item", call.item, key="id")
    order_id, item_json = book.execute(
        "SELECT order_id, item_json FROM order_item WHERE id = ?", (call.item,)
    ).fetchone()
    item = OrderItem.from_table(json.loads(item_json))
    if call.answer == SHOWN and call.shown_sha256 not in ("", item.fingerprint):
        raise CommandRefused(_NOT_SHOWN)
    is_new_picture = call.design_sha256 not in ("", item.design_sha256) or (
        call.draft not in ("", item.draft)
    )
    if call.answer in (SHOWN, CHANGED) and is_new_picture:
        item = replace(
            item,
            design_sha256=call.design_sha256 or item.design_sha256,
            draft=call.draft or item.draft,
            is_set=call.is_set or item.is_set,
        )
        _write_items(book, order_id, [replace(item, id=call.item)], stamp)
        _touch(book, order_id, stamp)
    if call.answer == CHANGED:
        return None  # which has withdrawn what was said before, if it was another picture
    if call.answer == YES and not _is_shown(book, call.item, call.shown_sha256, item.fingerprint):
        raise CommandRefused(_NOT_SHOWN)
    return _insert_proof(book, call.item, call.answer, item.fingerprint, stamp, way=call.way)


def _is_shown(book: sqlite3.Connection, item: int, said_to: str, fingerprint: str) -> bool:
    """Return whether a yes is to the item as it is, and to what was shown since its last change."""
    shown = book.execute(
        "SELECT 1 FROM proof WHERE item_id = ?1 AND answer = 'shown' AND shown_sha256 = ?2 AND id >"
        " (SELECT coalesce(max(id), 0) FROM proof WHERE item_id = ?1 AND answer = 'changed')",
        (item, fingerprint),
    ).fetchone()
    return said_to == fingerprint and shown is not None


def _insert_proof(
    book: sqlite3.Connection,
    item: int,
    answer: str,
    shown_sha256: str,
    stamp: Stamp,
    *,
    way: str = "",
) -> int | None:
    columns = {
        "item_id": item,
        "answer": answer,
        "shown_sha256": shown_sha256,
        "way": way,
        "at_utc": stamp.at_utc,
        "who": stamp.who,
    }
    return insert(book, "proof", columns)


def forget_order(book: sqlite3.Connection, *, order: int, stamp: Stamp) -> int | None:
    """Write nothing over who it was for and what shows it; figures and verdicts stay."""
    require(book, "customer_order", order, key="id")
    empty = {"customer": FORGOTTEN, "note": "", "may_use_photo_on": ""}
    _touch(book, order, stamp, **empty, forgotten_at_utc=stamp.at_utc)
    found = book.execute(
        "SELECT id, item_json FROM order_item WHERE order_id = ?", (order,)
    ).fetchall()
    items = [
        OrderItem.from_table({**json.loads(text), **_FORGET, "id": one}) for one, text in found
    ]
    _write_items(book, order, items, stamp)
    book.execute(
        "UPDATE proof SET way = '' WHERE item_id IN (SELECT id FROM order_item WHERE order_id = ?)",
        (order,),
    )
    book.execute(
        "UPDATE verdict SET photo = '' WHERE run_id IN (SELECT run.id FROM run"
        " JOIN assignment ON assignment.id = assignment_id"
        " JOIN order_item ON order_item.id = item_id WHERE order_id = ?)",
        (order,),
    )
    tiles = "SELECT id FROM order_item WHERE order_id = ?"
    book.execute(
        "UPDATE verdict SET photo = '' WHERE EXISTS (SELECT 1 FROM run_tile WHERE run_tile.run_id ="  # noqa: S608
        f" verdict.run_id AND run_tile.pocket = verdict.pocket AND item_id IN ({tiles}))",
        (order,),
    )
    book.execute(
        f"UPDATE run_tile SET title = '{FORGOTTEN}' WHERE item_id IN ({tiles})",  # noqa: S608
        (order,),
    )
    return order


def save_shop(book: sqlite3.Connection, *, figures: ShopFigures, stamp: Stamp) -> int | None:
    """Write the shop's figures over those of before."""
    columns = {
        "name": "figures",
        "figures_json": json.dumps(figures.to_table()),
        "who": stamp.who,
        "changed_at_utc": stamp.at_utc,
    }
    return put(book, "shop", columns)


def require_accepted(book: sqlite3.Connection, item: int, design_sha256: str) -> None:
    """Raise CommandRefused unless the customer said yes to the item as it is, and to that design.

    An empty design is not compared: a job that was not made on the page shows none.
    """
    require(book, "order_item", item, key="id")
    (item_json,) = book.execute("SELECT item_json FROM order_item WHERE id = ?", (item,)).fetchone()
    kept = OrderItem.from_table(json.loads(item_json))
    newest = book.execute(
        "SELECT answer, shown_sha256 FROM proof WHERE item_id = ? ORDER BY id DESC LIMIT 1",
        (item,),
    ).fetchone()
    is_same = not design_sha256 or design_sha256 == kept.design_sha256
    if newest != (YES, kept.fingerprint) or not is_same:
        raise CommandRefused(
            "The customer has not said yes to this as it is now: show the proof, and note the "
            "answer."
        )


def lots_of_set(book: sqlite3.Connection, item: int) -> Sequence[str]:
    """Return the lots of a matching set's tiles so far; none for items that are no set."""
    (item_json,) = book.execute("SELECT item_json FROM order_item WHERE id = ?", (item,)).fetchone()
    if not json.loads(item_json).get("is_set"):
        return ()
    return tuple(lot for (lot,) in book.execute(_LOTS_OF_SET, (item,)) if lot is not None)


def _new_order(book: sqlite3.Connection, order: OrderRecord, stamp: Stamp) -> int:
    columns = {
        "version": 1,
        **_columns(order),
        "at_utc": stamp.at_utc,
        "who": stamp.who,
        "changed_at_utc": stamp.at_utc,
    }
    number = insert(book, "customer_order", columns) or 0
    _write_items(book, number, [replace(item, id=0) for item in order.parts()], stamp)
    return number


def _columns(order: OrderRecord) -> dict[str, object]:
    return {
        "customer": order.customer,
        "due_on": order.due_on,
        "note": order.note,
        "may_use_photo_on": order.may_use_photo_on,
    }


def _require_version(book: sqlite3.Connection, order: int, version: int) -> None:
    require(book, "customer_order", order, key="id")
    kept, who, at_utc = book.execute(
        "SELECT version, who, changed_at_utc FROM customer_order WHERE id = ?", (order,)
    ).fetchone()
    if kept != version:
        raise CommandRefused(
            f"{who} changed order {order} at {at_utc[11:16]} UTC, while you had it open. Look at "
            "it as it is now, then change it."
        )


def _touch(book: sqlite3.Connection, order: int, stamp: Stamp, **columns: object) -> None:
    changes = {**columns, "who": stamp.who, "changed_at_utc": stamp.at_utc}
    names = "".join(f", {name} = ?" for name in changes)
    book.execute(
        f"UPDATE customer_order SET version = version + 1{names} WHERE id = ?",  # noqa: S608
        (*changes.values(), order),
    )


def _withdraw(book: sqlite3.Connection, item: OrderItem, stamp: Stamp) -> None:
    newest = book.execute(
        "SELECT shown_sha256 FROM proof WHERE item_id = ? ORDER BY id DESC LIMIT 1", (item.id,)
    ).fetchone()
    if newest and newest != (item.fingerprint,):
        _insert_proof(book, item.id, CHANGED, item.fingerprint, stamp)


def _remove_item(book: sqlite3.Connection, item: int) -> None:
    if book.execute(
        "SELECT 1 FROM assignment WHERE item_id = ?1"
        " UNION ALL SELECT 1 FROM run_tile WHERE item_id = ?1",
        (item,),
    ).fetchone():
        raise CommandRefused("An item with tiles on the bench or etched stays: lower its number.")
    book.execute("DELETE FROM proof WHERE item_id = ?", (item,))
    book.execute("DELETE FROM order_item WHERE id = ?", (item,))


def _write_items(
    book: sqlite3.Connection, order: int, items: Sequence[OrderItem], stamp: Stamp
) -> None:
    """Write items; another picture, text or size than was shown withdraws what was said to it."""
    for item in items:
        table = item.to_table()
        del table["id"]
        columns = {
            "order_id": order,
            "item_json": json.dumps(table),
            "tiles": item.count,
            "shown_sha256": item.fingerprint,
            "draft": item.draft,
        }
        if item.id:
            _withdraw(book, item, stamp)
            names = ", ".join(f"{name} = ?" for name in columns)
            book.execute(
                f"UPDATE order_item SET {names} WHERE id = ?",  # noqa: S608
                (*columns.values(), item.id),
            )
        else:
            insert(book, "order_item", columns)
