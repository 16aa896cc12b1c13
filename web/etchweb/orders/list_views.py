"""Orders from a list: a CSV file and the photos that it names become orders and their pictures."""

import errno
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from hashlib import file_digest, sha256
from threading import Lock
from typing import Final

from flask import current_app, redirect, render_template, request, url_for
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.pairs import Pair, ask_pairs, pair_of_key, preselected
from etchweb.context import answered, app_context, visitor_name
from etchweb.drafts.draft import Draft
from etchweb.drafts.store import PHOTO_NAME
from etchweb.drafts.tile_choice import decide_tile
from etchweb.drafts.views import drafts, make_room, with_its_order, work_queue
from etchweb.server.forms import FormUnfit
from etchweb.server.picker import shown_name
from etchweb.server.responses import refusals_on, with_status
from etchwire.calls.orders import AddOrders, Order
from etchwire.catalogue.order_list import COLUMNS, Common, UnfitList, orders_of_list
from etchwire.catalogue.orders import TRIALS_OF_PLACE, OrderItem, OrderRecord
from etchwire.packing import pack
from etchwire.transport.json_text import JsonTable

MOST_PHOTOS: Final = 60
NO_LIST: Final = "Choose the list first."
NO_PAIR: Final = "Choose which laser etches them, and on which tile and paint."
TOO_MANY: Final = f"Send at most {MOST_PHOTOS} photos at once: split the list."
LIST_IN_HAND: Final = "etchweb list of orders"
NOT_SENT: Final = "it was not sent"
IMPORTED: Final = (
    "this list was imported already, with these photos: to import it again, change the due day"
)


def show_list() -> str:
    """Ask for a list and its photos."""
    return _page([])


def take_list() -> BaseResponse:
    """Take all orders of a list with their pictures, or none; what is wrong is said by lines."""
    try:
        with refusals_on(lambda sentence: _page([sentence])), _one_at_a_time():
            _take(request.files.get("list"), _photos(request.files.getlist("photo")))
    except UnfitList as unfit:
        return with_status(_page(unfit.faults), 422)
    return redirect(url_for("orders.show"), 303)


def _one_at_a_time() -> Lock:
    """Return what is held while a list is taken: a second tap on the button waits for the first."""
    lock: Lock = current_app.extensions[LIST_IN_HAND]
    return lock


def _take(chosen: FileStorage | None, photos: Mapping[str, FileStorage]) -> None:
    pair = pair_of_key(request.form.get("pair", ""), _pairs())
    if chosen is None or not chosen.filename:
        raise FormUnfit(NO_LIST)
    if pair is None:
        raise FormUnfit(NO_PAIR)
    if len(photos) > MOST_PHOTOS:
        raise FormUnfit(TOO_MANY)
    common = Common(
        surface=pair.surface.name,
        due_on=request.form.get("due_on", ""),
        place=request.form.get("place", ""),
    )
    make_room()
    listed = chosen.read()
    records = orders_of_list(listed, common, lambda name: _sha256(photos, name))
    names = _draft_names(listed, records)
    if all(_is_linked(name) for of_order in names for name in of_order):
        raise UnfitList([IMPORTED])
    with _begun(records, names, photos, pair) as begun:
        last = _write_down(records, begun)
    _say_whose(range(last - len(records) + 1, last + 1))


def _draft_names(listed: bytes, records: Sequence[OrderRecord]) -> list[list[str]]:
    """Return what the draft of each item is called, by order: the same whenever it is sent.

    So a list that is sent again, since the page died over it, is found to be taken already.
    """
    tables = json.dumps([record.to_table() for record in records], sort_keys=True)
    key = sha256(listed + tables.encode()).hexdigest()
    return [
        [
            sha256(f"{key} {number} {place}".encode()).hexdigest()[:16]
            for place in range(len(record.items))
        ]
        for number, record in enumerate(records)
    ]


def _is_linked(name: str) -> bool:
    draft = drafts().find(name)
    return draft is not None and draft.item is not None


@contextmanager
def _begun(
    records: Sequence[OrderRecord],
    names: Sequence[Sequence[str]],
    photos: Mapping[str, FileStorage],
    pair: Pair,
) -> Iterator[list[list[Draft]]]:
    """Begin the drafts of each order's items; where anything goes wrong, none of them is left."""
    made: list[str] = []
    faults: list[str] = []
    begun: list[list[Draft]] = []
    try:
        for record, of_order in zip(records, names, strict=True):
            begun.append([])
            for item, name in zip(record.parts(), of_order, strict=True):
                known = drafts().find(name)
                if known is not None and known.item is not None:  # the page died after this one
                    begun[-1].append(known)
                    continue
                made.append(name)
                draft = drafts().begin(item.title, draft_id=name)
                photos[item.title].stream.seek(0)
                photos[item.title].save(drafts().folder_of(draft.id) / PHOTO_NAME)
                try:
                    draft = _decided(draft, item, pair)
                except FormUnfit as unfit:
                    faults.append(f"{record.customer}, {item.title}: {unfit}")
                drafts().keep(draft)
                begun[-1].append(draft)
        _require_none(faults)
        yield begun
    except BaseException:
        for name in made:
            drafts().forget(name)
        raise


def _require_none(faults: list[str]) -> None:
    if faults:
        raise UnfitList(faults)


def _decided(draft: Draft, item: OrderItem, pair: Pair) -> Draft:
    """Return the draft with size, laser, tile and paint; its crop and look are the usual ones."""
    form = MultiDict(
        {
            "pair": json.dumps(pair.key),
            "width_mm": f"{item.width_mm}",
            "height_mm": f"{item.height_mm}",
        }
    )
    return decide_tile(draft, form, [pair], app_context().daemon)


def _write_down(records: Sequence[OrderRecord], begun: Sequence[Sequence[Draft]]) -> int:
    """Have the logbook take the orders with the names of their pictures: all or none, and once.

    Return the last one's number.
    """
    named = [_named(record, of_order) for record, of_order in zip(records, begun, strict=True)]
    packed = pack(json.dumps(named))
    return app_context().daemon.ask(AddOrders(orders_packed=packed, who=visitor_name())).id or 0


def _say_whose(numbers: range) -> None:
    """Say of each picture whose it is, and have it made.

    A page that dies over this finds the pictures by their names when it shows the order, or when
    the list is sent again.
    """
    for number in numbers:
        for entry in answered(Order(id=number)).items:
            draft = with_its_order(number, entry)
            if draft is not None:
                work_queue().begin(drafts().folder_of(draft.id), "make", draft.found_key)


def _named(record: OrderRecord, of_order: Sequence[Draft]) -> JsonTable:
    items = [
        replace(item, draft=draft.id, design_sha256=drafts().design_sha256(draft)).to_table()
        for item, draft in zip(record.parts(), of_order, strict=True)
    ]
    return replace(record, items=items).to_table()


def _photos(sent: Sequence[FileStorage]) -> dict[str, FileStorage]:
    """Return the photos by what the phone calls them."""
    return {shown_name(photo.filename): photo for photo in sent if photo.filename}


def _sha256(photos: Mapping[str, FileStorage], name: str) -> str:
    if name not in photos:
        raise OSError(errno.ENOENT, NOT_SENT, name)
    stream = photos[name].stream
    stream.seek(0, os.SEEK_SET)
    return file_digest(stream, "sha256").hexdigest()  # type: ignore[arg-type]


def _pairs() -> list[Pair]:
    return [pair for pair in ask_pairs(app_context().daemon) if pair.recipe is not None]


def _page(faults: Sequence[str]) -> str:
    pairs = _pairs()
    chosen = pair_of_key(request.form.get("pair", ""), pairs)
    return render_template(
        "orders/list.html",
        faults=faults,
        columns=COLUMNS,
        pairs=[(json.dumps(pair.key), pair) for pair in pairs],
        chosen=chosen or preselected(app_context().daemon, pairs),
        places=tuple(TRIALS_OF_PLACE),
        typed=request.form,
    )
