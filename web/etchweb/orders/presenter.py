"""What the pages of orders show: pure."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from etchweb.orders.costs import Account
from etchweb.orders.letters import marked
from etchweb.text.formatting import counted, millimetres
from etchweb.text.timestamps import moment
from etchweb.text.view import View
from etchwire.calls.orders import ItemEntry, OrderLine, TileEntry
from etchwire.catalogue.order_states import DONE
from etchwire.catalogue.orders import SHOWN, YES, OrderItem, place_warning

PHOTO_MISSING: Final = (
    "Its picture is not on this box: it was deleted, or never prepared. Prepare it from the photo."
)
PHOTO_CHANGED: Final = (
    "The photo that was prepared is not the one of the list: it was changed since, or it is "
    "another."
)
OTHER_SIZE: Final = "Its picture was prepared at another size than the order’s."
SURFACE_GONE: Final = "The logbook no longer knows this tile and paint. Choose another."


def line_view(line: OrderLine, today: date) -> View:
    """Return an order as one line of the list."""
    left = f"{line.to_make} to make" if line.to_make else ""
    made = f"{line.good} of {counted(line.tiles, 'tile', 'tiles')} good"
    return {
        "id": line.id,
        "customer": line.customer,
        "state": line.state,
        "due": "" if line.state == DONE else due_words(line.due_on, today),
        "is_late": line.state != DONE and bool(line.due_on) and line.due_on < today.isoformat(),
        "tiles": ", ".join(filter(None, (made, left))),
    }


def due_words(due_on: str, today: date) -> str:
    """Return how long there is until a day as a person says it."""
    try:
        day = date.fromisoformat(due_on)
    except ValueError:
        return "no day named"
    days = (day - today).days
    if days < 0:
        return f"{counted(-days, 'day', 'days')} late"
    near = {0: "due today", 1: "due tomorrow"}
    return near.get(days, f"due {day.strftime('%-d %b %Y')}")


@dataclass(frozen=True, slots=True)
class Prepared:
    """What *New picture* has of an item: the photo, the size, and whether a picture was made."""

    photo_sha256: str
    size_mm: tuple[float | None, float | None]
    has_picture: bool


def item_view(entry: ItemEntry, prepared: Prepared | None) -> View:
    """Return an item and what is `prepared` of it."""
    item = entry.item
    newest = entry.proofs[0] if entry.proofs else None
    return {
        "id": entry.id,
        "item": item,
        "state": entry.state,
        "size": f"{millimetres(item.width_mm)} × {millimetres(item.height_mm)} mm",
        "count": counted(item.count, "tile", "tiles"),
        "to_make": entry.to_make,
        "warning": place_warning(item, entry.trials),
        "faults": _faults(entry, prepared),
        "letters": marked(item.text),
        "fingerprint": entry.fingerprint,
        "has_picture": prepared is not None and prepared.has_picture,
        "can_show": _can_show(item, prepared),
        "can_answer": newest is not None and newest.answer in (SHOWN, YES) and newest.is_current,
        "is_accepted": newest is not None and newest.answer == YES and newest.is_current,
        "proofs": [
            (moment(one.at_utc), _ANSWERS[one.answer], one.way, one.who) for one in entry.proofs
        ],
        "tiles": [(tile.run_id, _tile_words(tile)) for tile in entry.tiles],
    }


def _can_show(item: OrderItem, prepared: Prepared | None) -> bool:
    """Return whether there is something to show; a picture that was made elsewhere is trusted."""
    if prepared is not None:
        return prepared.has_picture
    return not item.draft and bool(item.design_sha256 or item.text)


def _faults(entry: ItemEntry, prepared: Prepared | None) -> list[str]:
    item = entry.item
    found = [] if entry.is_surface_known else [SURFACE_GONE]
    if prepared is None:
        return [*found, PHOTO_MISSING] if item.draft else found
    if item.photo_sha256 and prepared.photo_sha256 != item.photo_sha256:
        found.append(PHOTO_CHANGED)
    if None not in prepared.size_mm and prepared.size_mm != (item.width_mm, item.height_mm):
        found.append(OTHER_SIZE)
    return found


def account_view(account: Account, currency: str) -> View:
    """Return what an order cost so far, in the shop's money."""
    shown = {
        "cost": account.cost,
        "remakes": account.remakes.total,
        "paid": account.paid,
        "margin": account.margin,
    }
    return {
        **{name: f"{value:.2f} {currency}" for name, value in shown.items()},
        "good": account.good_tiles,
        "remade": account.remade_tiles,
    }


_ANSWERS: Final = {
    "shown": "Shown to the customer",
    "yes": "The customer said yes",
    "no": "The customer said no",
    "changed": "Changed: what was said before no longer counts",
}


def _tile_words(tile: TileEntry) -> str:
    words = tile.verdict or ("to judge" if tile.ended == "complete" else tile.ended or "etching")
    return f"{words}, on a tile of {tile.lot}" if tile.lot else words
