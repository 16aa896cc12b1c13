"""What a tile costs the shop: entered once, and told for the books."""

import csv
import io
from collections.abc import Mapping
from typing import Final

from flask import Response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.forms import refusals_as_sentences
from etchweb.context import answered, app_context, visitor_name
from etchweb.orders.costs import BOOK_COLUMNS, book_rows
from etchweb.server.forms import Form, number
from etchweb.server.responses import refusals_on
from etchwire.calls.orders import Order, Orders, SaveShop, Shop
from etchwire.catalogue.orders import LARGEST_PRICE, ShopFigures

# Entry of etchwire.catalogue.orders.ShopFigures, and what the form calls it.
FIELDS: Final = (
    ("machine_per_h", "One hour of the machine"),
    ("labour_per_h", "One hour of work"),
    ("prepare_min", "Preparing a picture, min per tile"),
    ("paint_min", "Painting, min per tile"),
    ("load_min", "Loading and starting, min per tile"),
    ("wipe_min", "Wiping, min per tile"),
    ("pack_min", "Packing, min per tile"),
    ("tile", "Tile"),
    ("paint", "Paint for a tile"),
    ("filter", "Filter"),
    ("filter_life_h", "A filter lasts, hours of etching"),
    ("filter_limit_h", "Change the filter after, hours of beam"),
    ("lens", "Lens"),
    ("lens_life_h", "A lens lasts, hours of beam"),
)


def show_costs() -> str:
    """Ask for what a tile costs."""
    return _page("", {})


def save_costs() -> BaseResponse:
    """Note what a tile costs."""
    with refusals_on(lambda why: _page(why, request.form)):
        figures = figures_in(request.form)
        app_context().daemon.ask(SaveShop(figures=figures, who=visitor_name()))
    return redirect(url_for("orders.show_costs"), 303)


def figures_in(form: Form) -> ShopFigures:
    """Return the figures that were typed; what was left empty costs nothing."""
    typed = {
        name: number(form, name, label, least=0, most=LARGEST_PRICE)
        for name, label in FIELDS
        if form.get(name, "").strip()
    }
    with refusals_as_sentences():
        return ShopFigures.from_table(typed | {"currency": form.get("currency", "").strip()})


def books() -> Response:
    """Return the items of the orders that were done last, as a table for a spreadsheet.

    As many as one answer of the daemon names; the command writes all of them.
    """
    figures = answered(Shop()).figures
    text = io.StringIO()
    sheet = csv.writer(text)
    sheet.writerow(BOOK_COLUMNS)
    for one in answered(Orders(is_done=True)).orders:
        sheet.writerows(book_rows(answered(Order(id=one.id)), figures))
    answer = Response(text.getvalue(), mimetype="text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="orders.csv"'
    return answer


def _page(answer: str, typed: Mapping[str, str]) -> str:
    kept = answered(Shop())
    return render_template(
        "orders/costs.html",
        fields=FIELDS,
        values=typed or kept.figures.to_table(),
        is_known=bool(kept.who),
        answer=answer,
    )
