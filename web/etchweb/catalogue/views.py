"""*Lasers* and *Tiles and paints*: described here, as the logbook keeps them."""

from collections.abc import Mapping

from flask import (
    Blueprint,
    Flask,
    redirect,
    render_template,
    request,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue import lots
from etchweb.catalogue.controller_figures import controller_figures, laser_mode_trouble
from etchweb.catalogue.forms import (
    ASKED_FIELDS,
    HEAD_FIELDS,
    SPOT_HEIGHT,
    SURFACE_FIELDS,
    TOLD_FIELDS,
    WIPING_FIELDS,
    head_in,
    surface_in,
)
from etchweb.catalogue.pairs import ask_settings
from etchweb.context import app_context, visitor_name
from etchweb.newcomer.views import next_address
from etchweb.server.responses import refusals_on
from etchweb.text.view import View
from etchwire.calls.catalogue import (
    ChangeFilter,
    Filter,
    FilterEntry,
    HeadEntry,
    Heads,
    SaveHead,
    SaveSurface,
    Surfaces,
    WipeLens,
)
from etchwire.catalogue.extraction_filter import SECONDS_PER_HOUR, filter_note
from etchwire.catalogue.records import COATINGS, WIPINGS

pages = Blueprint("craft", __name__)
pages.get("/lots")(lots.lots)
pages.post("/lots")(lots.describe_lot)
pages.post("/lots/compare")(lots.compare_lots)


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)


@pages.get("/lasers")
def lasers() -> str:
    """List the lasers, and ask for another or for a change."""
    return _lasers_page("", {})


@pages.post("/lasers")
def describe_laser() -> BaseResponse:
    """Describe a laser, over what stood under its name."""
    daemon = app_context().daemon
    known = {one.name: one.head for one in daemon.ask(Heads()).heads}
    with refusals_on(lambda why: _lasers_page(why, request.form)):
        head = head_in(request.form, known.get(request.form.get("name", "").strip()))
        notes = request.form.get("notes", "")
        daemon.ask(SaveHead(head=head, notes=notes, who=visitor_name()))
    return redirect(next_address(otherwise=url_for("craft.lasers")), 303)


@pages.post("/lasers/lens-wiped")
def wipe_lens() -> BaseResponse:
    """Note that a lens was wiped."""
    with refusals_on(lambda why: _lasers_page(why, {})):
        app_context().daemon.ask(WipeLens(head=request.form.get("name", ""), who=visitor_name()))
    return redirect(url_for("craft.lasers"), 303)


@pages.post("/lasers/filter-changed")
def change_filter() -> BaseResponse:
    """Note that the extraction has a new filter."""
    with refusals_on(lambda why: _lasers_page(why, {})):
        app_context().daemon.ask(ChangeFilter(who=visitor_name()))
    return redirect(url_for("craft.lasers", _anchor="filter"), 303)


@pages.get("/tiles-and-paints")
def surfaces() -> str:
    """List tiles and paints, and ask for another or for a change."""
    return _surfaces_page("", {})


@pages.post("/tiles-and-paints")
def describe_surface() -> BaseResponse:
    """Describe tile and paint, over what stood under that name."""
    daemon = app_context().daemon
    known = {one.name: one.surface for one in daemon.ask(Surfaces()).surfaces}
    with refusals_on(lambda why: _surfaces_page(why, request.form)):
        surface = surface_in(request.form, known.get(request.form.get("name", "").strip()))
        daemon.ask(SaveSurface(surface=surface, who=visitor_name()))
    return redirect(next_address(otherwise=url_for("craft.surfaces")), 303)


def _lasers_page(answer: str, typed: Mapping[str, str]) -> str:
    heads = app_context().daemon.ask(Heads()).heads
    chosen = next((one for one in heads if one.name == request.args.get("name")), None)
    settings = ask_settings(app_context().daemon)
    told = {name: f"{figure:g}" for name, figure in controller_figures(settings).items()}
    values = typed or (_typed(chosen) if chosen else told)
    return render_template(
        "catalogue/lasers.html",
        heads=[_laser_view(one) for one in heads],
        filter=_filter_view(app_context().daemon.ask(Filter())),
        asked_fields=ASKED_FIELDS,
        more_fields=(SPOT_HEIGHT, *TOLD_FIELDS),
        are_told=all(values.get(name) for name, _, _ in TOLD_FIELDS),
        is_new=values is told,
        values=values,
        laser_mode=laser_mode_trouble(settings),
        answer=answer,
    )


def _laser_view(one: HeadEntry) -> View:
    since_s = one.beam_since_wipe_s
    return {
        "name": one.name,
        "watts": f"{one.head.rated_optical_w:g}",
        "hours": f"{one.beam_s / SECONDS_PER_HOUR:.1f}",
        "since": None if since_s is None else f"{since_s / SECONDS_PER_HOUR:.1f}",
        "spot": _spot_sentence(one),
        "do_rows_meet": one.head.register.is_measured,
    }


def _filter_view(entry: FilterEntry) -> View:
    beam_h = entry.beam_since_change_s / SECONDS_PER_HOUR
    return {
        "hours": f"{beam_h:.1f}",
        "changed_on": entry.changed_at_utc and entry.changed_at_utc[:10],
        "limit": f"{entry.limit_h:g}" if entry.limit_h else "",
        "note": filter_note(beam_h, entry.limit_h),
    }


def _spot_sentence(one: HeadEntry) -> str:
    size = f"{one.head.spot_x_mm:g} × {one.head.spot_y_mm:g} mm"
    if one.spot_found is not None:
        return (
            f"Spot {size}, give or take {one.spot_found.give_or_take_mm:g} (nine times in ten), "
            f"measured {one.spot_found.at_utc[:10]} (reading {one.spot_found.reading})."
        )
    if one.head.is_spot_unknown:
        return f"Spot not stated, taken as {size}: a focus card measures it."
    return f"Spot {size}, {'measured' if one.head.is_spot_measured else 'as the maker says'}."


def _typed(one: HeadEntry) -> dict[str, str]:
    """Return what a form would hold that had been filled in with this laser."""
    typed = {name: f"{getattr(one.head, name):g}" for name, _, _ in HEAD_FIELDS}
    if one.head.is_spot_unknown:
        typed |= dict.fromkeys(("spot_x_mm", "spot_y_mm"), "")
    measured = "yes" if one.head.is_spot_measured else ""
    return typed | {"name": one.head.name, "is_spot_measured": measured, "notes": one.notes}


def _surfaces_page(answer: str, typed: Mapping[str, str]) -> str:
    found = [one.surface for one in app_context().daemon.ask(Surfaces()).surfaces]
    chosen = next((one for one in found if one.name == request.args.get("name")), None)
    return render_template(
        "catalogue/surfaces.html",
        surfaces=found,
        fields=SURFACE_FIELDS,
        wiping_fields=WIPING_FIELDS,
        coatings=COATINGS,
        wipings=WIPINGS,
        values=typed or (chosen.to_table() if chosen else {}),
        answer=answer,
    )
