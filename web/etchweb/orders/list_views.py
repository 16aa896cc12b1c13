"""Orders from a list: a CSV file and the photos that it names become orders and their pictures."""

import errno
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from hashlib import file_digest
from typing import Final

from flask import redirect, render_template, request, url_for
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.pairs import Pair, ask_pairs, pair_of_key, preselected
from etchweb.context import answered, app_context, visitor_name
from etchweb.drafts.forms import for_order
from etchweb.drafts.store import PHOTO_NAME, Draft
from etchweb.drafts.tile_choice import decide_tile
from etchweb.drafts.views import drafts, keep, make_room, work_queue
from etchweb.server.forms import FormUnfit
from etchweb.server.picker import shown_name
from etchweb.server.responses import refusals_on, with_status
from etchwire.calls.orders import AddOrders, Order
from etchwire.catalogue.order_list import COLUMNS, Common, UnfitList, orders_of_list
from etchwire.catalogue.orders import TRIALS_OF_PLACE, OrderItem, OrderRecord
from etchwire.packing import pack

MOST_PHOTOS: Final = 60
NO_LIST: Final = "Choose the list first."
NO_PAIR: Final = "Choose which laser etches them, and on which tile and paint."
TOO_MANY: Final = f"Send at most {MOST_PHOTOS} photos at once: take the list in parts."
NOT_SENT: Final = "it was not sent along"


def show_list() -> str:
    """Ask for a list and its photos."""
    return _page([])


def take_list() -> BaseResponse:
    """Take all orders of a list with their pictures, or none; what is wrong is said by lines."""
    try:
        with refusals_on(lambda sentence: _page([sentence])):
            _take(request.files.get("list"), _photos(request.files.getlist("photo")))
    except UnfitList as unfit:
        return with_status(_page(unfit.faults), 422)
    return redirect(url_for("orders.show"), 303)


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
    records = orders_of_list(chosen.read(), common, lambda name: _sha256(photos, name))
    with _begun(records, photos, pair) as begun:
        _write_down(records, begun)


@contextmanager
def _begun(
    records: Sequence[OrderRecord], photos: Mapping[str, FileStorage], pair: Pair
) -> Iterator[list[list[Draft]]]:
    """Begin the drafts of each order's items; where anything goes wrong, none of them is left."""
    made: list[Draft] = []
    faults: list[str] = []
    begun: list[list[Draft]] = []
    try:
        for record in records:
            begun.append([])
            for item in record.parts():
                draft = drafts().begin(item.title)
                made.append(draft)
                photos[item.title].stream.seek(0)
                photos[item.title].save(drafts().folder_of(draft.id) / PHOTO_NAME)
                try:
                    begun[-1].append(_decided(draft, item, pair))
                except FormUnfit as unfit:
                    faults.append(f"{record.customer}, {item.title}: {unfit}")
        _require_none(faults)
        yield begun
    except BaseException:
        for draft in made:
            drafts().forget(draft.id)
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


def _write_down(records: Sequence[OrderRecord], begun: Sequence[Sequence[Draft]]) -> None:
    """Have the logbook take the orders, and say which picture is whose.

    A page that dies between the two leaves orders whose pictures are to be prepared.
    """
    packed = pack(json.dumps([record.to_table() for record in records]))
    last = app_context().daemon.ask(AddOrders(orders_packed=packed, who=visitor_name())).id or 0
    for number, of_order in enumerate(begun, last - len(records) + 1):
        for entry, draft in zip(answered(Order(id=number)).items, of_order, strict=True):
            ordered = for_order(draft, MultiDict({"order": f"{number}", "item": f"{entry.id}"}))
            keep(ordered)
            work_queue().begin(drafts().folder_of(draft.id), "make", ordered.found_key)


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
