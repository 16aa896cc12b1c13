"""*Lasers* and *Tiles and paints*: described here, as the logbook keeps them."""

from collections.abc import Mapping
from typing import Any, Final

from flask import (
    Blueprint,
    redirect,
    render_template,
    request,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.forms import HEAD_FIELDS, SURFACE_FIELDS, head_in, surface_in
from etchweb.context import app_context, visitor_name
from etchweb.server.forms import FormUnfit
from etchweb.server.responses import with_status
from etchweb.text.formatting import as_sentence
from etchwire.catalogue_records import COATINGS
from etchwire.errors import Refused

pages = Blueprint("craft", __name__)

SECONDS_PER_HOUR: Final = 3600.0
Table = Mapping[str, Any]


@pages.get("/lasers")
def lasers() -> str:
    """List the lasers, and ask for another or for a change."""
    return _lasers_page("", {})


@pages.post("/lasers")
def describe_laser() -> BaseResponse:
    """Describe a laser, over what stood under its name."""
    known = {one["name"]: one["head"] for one in app_context().daemon.ask("heads")["heads"]}
    try:
        head = head_in(request.form, known.get(request.form.get("name", "").strip()))
        _tell("save_head", head=head, notes=request.form.get("notes", ""))
    except FormUnfit as unfit:
        return with_status(_lasers_page(str(unfit), request.form), 422)
    except Refused as refusal:
        return with_status(_lasers_page(as_sentence(str(refusal)), request.form), 409)
    return redirect(url_for("craft.lasers"), 303)


@pages.post("/lasers/lens-wiped")
def wipe_lens() -> BaseResponse:
    """Note that a lens was wiped."""
    try:
        _tell("wipe_lens", head=request.form.get("name", ""))
    except Refused as refusal:
        return with_status(_lasers_page(as_sentence(str(refusal)), {}), 409)
    return redirect(url_for("craft.lasers"), 303)


@pages.get("/tiles-and-paints")
def surfaces() -> str:
    """List tiles and paints, and ask for another or for a change."""
    return _surfaces_page("", {})


@pages.post("/tiles-and-paints")
def describe_surface() -> BaseResponse:
    """Describe tile and paint, over what stood under that name."""
    try:
        _tell("save_surface", surface=surface_in(request.form))
    except FormUnfit as unfit:
        return with_status(_surfaces_page(str(unfit), request.form), 422)
    except Refused as refusal:
        return with_status(_surfaces_page(as_sentence(str(refusal)), request.form), 409)
    return redirect(url_for("craft.surfaces"), 303)


def _lasers_page(answer: str, typed: Mapping[str, str]) -> str:
    heads = app_context().daemon.ask("heads")["heads"]
    chosen = next((one for one in heads if one["name"] == request.args.get("name")), None)
    return render_template(
        "catalogue/lasers.html",
        heads=[_laser_view(one) for one in heads],
        fields=HEAD_FIELDS,
        values=typed or (_typed(chosen["head"], chosen["notes"]) if chosen else {}),
        answer=answer,
    )


def _laser_view(one: Table) -> dict[str, Any]:
    head, since_s = one["head"], one["beam_since_wipe_s"]
    return {
        "name": one["name"],
        "watts": f"{head['rated_optical_w']:g}",
        "hours": f"{one['beam_s'] / SECONDS_PER_HOUR:.1f}",
        "since": None if since_s is None else f"{since_s / SECONDS_PER_HOUR:.1f}",
        "is_spot_measured": head["is_spot_measured"],
        "do_rows_meet": head["register"]["is_measured"],
    }


def _typed(table: Table, notes: str) -> dict[str, str]:
    """Return what a form would hold that had been filled in with `table`."""
    typed = {name: f"{table[name]:g}" for name, _, _ in HEAD_FIELDS}
    measured = "yes" if table["is_spot_measured"] else ""
    return typed | {"name": table["name"], "is_spot_measured": measured, "notes": notes}


def _surfaces_page(answer: str, typed: Mapping[str, str]) -> str:
    found = [one["surface"] for one in app_context().daemon.ask("surfaces")["surfaces"]]
    chosen: Table = next((one for one in found if one["name"] == request.args.get("name")), {})
    return render_template(
        "catalogue/surfaces.html",
        surfaces=found,
        fields=SURFACE_FIELDS,
        coatings=COATINGS,
        values=typed or chosen,
        answer=answer,
    )


def _tell(method: str, **says: Any) -> None:
    app_context().daemon.ask(method, **says, who=visitor_name())
