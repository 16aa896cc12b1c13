"""*Orders*: what is due, and one order with its items, proofs and tiles."""

from datetime import UTC, datetime
from functools import partial
from threading import Lock
from typing import Final

from flask import Blueprint, Flask, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.lots import dry_lots
from etchweb.context import LARGEST_NUMBER, answered, app_context, visitor_name
from etchweb.daemon.late_end import late_end
from etchweb.drafts.draft import Draft
from etchweb.drafts.store import SEEN_NAME
from etchweb.drafts.views import drafts, with_its_order
from etchweb.orders import cost_views, list_views
from etchweb.orders.costs import order_account
from etchweb.orders.forms import WAYS, item_in, order_in, record_of
from etchweb.orders.presenter import Prepared, account_view, item_view, line_view
from etchweb.server.responses import refusals_on, with_status
from etchweb.storage.retention import forget_job
from etchweb.text.view import View
from etchwire.calls.catalogue import Note, Surfaces
from etchwire.calls.history import Run
from etchwire.calls.orders import (
    ForgetOrder,
    ItemEntry,
    NoteProof,
    Order,
    Orders,
    SaveOrder,
    Shop,
)
from etchwire.catalogue.order_states import READY
from etchwire.catalogue.orders import NO, SHOWN, TRIALS_OF_PLACE, YES, OrderRecord

pages = Blueprint("orders", __name__, url_prefix="/orders")
pages.get("/costs")(cost_views.show_costs)
pages.post("/costs")(cost_views.save_costs)
pages.get("/costs.csv")(cost_views.books)
pages.get("/list")(list_views.show_list)
pages.post("/list")(list_views.take_list)

ORDERS_ON_A_PAGE: Final = 40
_NUMBER: Final = f"<int(max={LARGEST_NUMBER}):number>"
AGREED: Final = "agreed"  # shown, and answered yes at once
ANSWERS: Final = (SHOWN, YES, NO, AGREED)
NO_ANSWER: Final = "Say what the customer answered, yes or no, and how."
NOT_SURE: Final = "Tick the box first: deleting cannot be undone."


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.extensions[list_views.LIST_IN_HAND] = Lock()
    app.register_blueprint(pages)


@pages.get("")
def show() -> str:
    """List the orders that are open, those due first first; or those that are done."""
    from_place = request.args.get("from", default=0, type=int)
    if not 0 <= from_place <= LARGEST_NUMBER:
        abort(404)
    is_done = request.args.get("done") == "yes"
    page = answered(Orders(is_done=is_done, from_place=from_place, limit=ORDERS_ON_A_PAGE))
    today = datetime.now(UTC).astimezone().date()
    return render_template(
        "orders/orders.html",
        orders=[line_view(one, today) for one in page.orders],
        total=page.total,
        next_from=page.next_from,
        is_first=from_place == 0,
        can_lay=any(one.state == READY for one in page.orders),
        is_done=is_done,
    )


@pages.get("/new")
def new() -> str:
    """Ask for a new order."""
    return _new_page("")


@pages.post("/new")
def take() -> BaseResponse:
    """Write down a new order with its first item."""
    with refusals_on(_new_page):
        order = order_in(request.form, (item_in(request.form, None),))
        saved = app_context().daemon.ask(SaveOrder(order=order, who=visitor_name()))
    return redirect(url_for("orders.show_order", number=saved.id), 303)


@pages.get(f"/{_NUMBER}")
def show_order(number: int) -> str:
    """Show one order."""
    return _order_page(number, "")


@pages.post(f"/{_NUMBER}")
def change(number: int) -> BaseResponse:
    """Change who an order is for, by when, and what was agreed."""
    order = answered(Order(id=number))
    with refusals_on(partial(_order_page, number)):
        record = order_in(request.form, tuple(one.item for one in order.items))
    return _noted(number, _changed(number, record))


@pages.post(f"/{_NUMBER}/item")
def change_item(number: int) -> BaseResponse:
    """Add an item, change one, or take one out."""
    order = answered(Order(id=number))
    kept = {str(one.id): one.item for one in order.items}
    name = request.form.get("item", "")
    with refusals_on(partial(_order_page, number)):
        if request.form.get("do") == "remove":
            kept.pop(name, None)
        else:
            kept[name] = item_in(request.form, kept.get(name))
        record = record_of(order, tuple(kept.values()))
    return _noted(number, _changed(number, record))


@pages.post(f"/{_NUMBER}/proof")
def answer_proof(number: int) -> BaseResponse:
    """Note that a proof was shown, what the customer said to it, or both at once."""
    form = request.form
    kept = {str(one.id): one for one in answered(Order(id=number)).items}
    entry = kept.get(form.get("item", ""))
    said, way = form.get("answer", ""), form.get("way", "")
    if entry is None or said not in ANSWERS or (said != SHOWN and way not in WAYS):
        return with_status(_order_page(number, NO_ANSWER), 422)
    notes = [
        NoteProof(
            item=entry.id,
            answer=answer,
            shown_sha256=form.get("shown_sha256", ""),
            way="" if answer == SHOWN else way,
            who=visitor_name(),
        )
        for answer in ((SHOWN, YES) if said == AGREED else (said,))
    ]
    return _noted(number, *notes)


@pages.post(f"/{_NUMBER}/forget")
def forget(number: int) -> BaseResponse:
    """Delete who an order was for, and all that shows it, here and in the logbook."""
    if request.form.get("sure") != "yes":
        return with_status(_order_page(number, NOT_SURE), 422)
    for one in answered(Order(id=number)).items:  # files first: it can be asked for again
        if drafts().find(one.item.draft) is not None:
            drafts().forget(one.item.draft)
        for tile in one.tiles:
            _forget_etch(tile.run_id)
    return _noted(number, ForgetOrder(id=number, who=visitor_name()))


def _forget_etch(number: int) -> None:
    """Delete what the page keeps of an etch, and of the one that it continued."""
    run: int | None = number
    while run is not None:
        record = answered(Run(id=run))
        photos = [verdict.photo for verdict in record.verdicts]
        forget_job(app_context().pictures.parent, record.gcode_sha256, photos)
        run = record.continues_run_id


def _changed(number: int, record: OrderRecord) -> SaveOrder:
    return SaveOrder(order=record, id=number, version=_version(), who=visitor_name())


def _noted(number: int, *notes: Note) -> BaseResponse:
    """Have the logbook note them; show the order with the sentence where it refuses."""
    with refusals_on(partial(_order_page, number)):
        for note in notes:
            app_context().daemon.ask(note)
    return redirect(url_for("orders.show_order", number=number), 303)


def _version() -> int:
    """Return the version that the form was made of; 0, which none has, where it says none."""
    typed = request.form.get("version", "")
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 16 else 0


def _new_page(answer: str) -> str:
    return render_template("orders/new.html", answer=answer, typed=request.form, **_choices())


def _order_page(number: int, answer: str) -> str:
    order = answered(Order(id=number))
    shop = answered(Shop())
    account = account_view(order_account(order, shop.figures), shop.figures.currency)
    return render_template(
        "orders/order.html",
        order=order,
        account=account if shop.who else None,
        items=[_item(number, one) for one in order.items],
        ways=WAYS,
        answer=answer,
        **_choices(),
    )


def _item(order: int, entry: ItemEntry) -> View:
    draft = with_its_order(order, entry)
    view = item_view(entry, None if draft is None else _prepared(draft))
    lots = dry_lots(entry.item.surface) if view["is_accepted"] and entry.to_make else []
    made = drafts().found(draft) if draft is not None and view["is_accepted"] else None
    late = late_end(app_context().daemon, None if made is None else made.predicted_s)
    return view | {"draft": draft, "lots": lots, "late": late}


def _prepared(draft: Draft) -> Prepared:
    facts = drafts().facts(draft.id)
    return Prepared(
        photo_sha256=facts.sha256 if facts else "",
        size_mm=(draft.width_mm, draft.height_mm),
        has_picture=(drafts().folder_of(draft.id) / SEEN_NAME).exists(),
    )


def _choices() -> View:
    surfaces = [one.name for one in answered(Surfaces()).surfaces]
    return {"surfaces": surfaces, "places": tuple(TRIALS_OF_PLACE)}
