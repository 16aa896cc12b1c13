"""The next jig: what orders wait for and can be etched together, laid in one tap."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from flask import redirect, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Jig
from etchweb.bench.plan_form import fields_of, to_plan
from etchweb.bench.pocket_lots import LOT
from etchweb.bench.presenter import Ready
from etchweb.bench.ready import accepted_item, ready_pictures
from etchweb.catalogue.lots import dry_lots
from etchweb.context import app_context
from etchweb.drafts.draft import Draft
from etchwire.calls.catalogue import Jigs
from etchwire.calls.orders import Order

NEVER: Final = "9999"  # is due what has no day


@dataclass(frozen=True, slots=True)
class Waiting:
    """A picture that its customer said yes to, and how many tiles of it are still to be made."""

    draft: Draft
    ready: Ready
    due_on: str
    to_make: int


def lay() -> BaseResponse:
    """Lay what is due first, and what goes with it by laser, recipe and lot, into a jig."""
    jigs = {one.name: one.jig for one in app_context().daemon.ask(Jigs()).jigs}
    name = request.args.get("jig", "") or next(iter(jigs), "")
    if name not in jigs:
        return redirect(url_for("bench.show"), 303)
    try:
        jig = Jig.of_record(jigs[name])
    except UnfitDesign:  # which the page says
        return redirect(url_for("bench.show", jig=name), 303)
    chosen = fitting(jig, sorted(_waiting(), key=lambda one: (one.due_on or NEVER, one.draft.id)))
    lots = dry_lots(chosen[0].surface) if chosen else []
    places = [place.number for place in jig.places()]
    laid = {f"{place}": one.id for place, one in zip(places, chosen, strict=False)}
    lot = {LOT: lots[0]} if lots else {}
    return to_plan("bench.show", fields_of(name, laid) | lot)


def fitting(jig: Jig, waiting: Sequence[Waiting]) -> list[Ready]:
    """Return a picture for each tile that goes into the jig, those waiting first first.

    One run has one laser and one recipe: those of the first that fits.
    """
    found: list[Ready] = []
    with_what = None
    for one in waiting:
        try:
            jig.require_fits(one.ready.width_mm, one.ready.height_mm)
        except UnfitDesign:
            continue
        with_what = with_what or (one.draft.head, one.draft.recipe)
        if with_what == (one.draft.head, one.draft.recipe):
            found += [one.ready] * one.to_make
    return found[: len(jig.places())]


def _waiting() -> Iterator[Waiting]:
    """Yield the pictures of orders that can be etched; a mural's tiles are laid by hand."""
    for draft, ready in ready_pictures().values():
        if draft.order is None or draft.wall:
            continue
        order = app_context().daemon.ask(Order(id=draft.order))
        item = accepted_item(draft, order)
        if item is not None and item.to_make:
            yield Waiting(draft, ready, order.due_on, item.to_make)
