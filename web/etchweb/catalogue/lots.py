"""*Painting lots*: tiles painted together, described here as the logbook keeps them."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.forms import refusals_as_sentences
from etchweb.catalogue.white_files import FOUND_NAME, PHOTO_NAME
from etchweb.context import app_context, visitor_name
from etchweb.previews.store import SCRATCH
from etchweb.server.forms import Form, FormUnfit, number
from etchweb.server.picker import NO_PHOTO, chosen_photos
from etchweb.server.responses import refusals_on, with_status
from etchweb.storage.tile_photos import NOT_READ
from etchweb.text.formatting import as_sentence, counted, millimetres
from etchweb.text.timestamps import moment
from etchweb.text.view import View
from etchweb.workers.work import CARD_FAULT, WORKER
from etchwire.calls.catalogue import LotEntry, Lots, SaveLot, Surfaces
from etchwire.catalogue.lots import FROST_RATED, LONGEST_DRYING_H, Lot, is_dry, offered
from etchwire.children.child_process import Cause, ChildFailed, ChildProcess

# Entry of etchwire.catalogue.lots.Lot, what the form calls it, and a hint.
TEXT_FIELDS: Final = (
    ("tile", "Tile: make and kind", ""),
    ("box", "Box", ""),
    ("whiteness", "Group of whiteness", "As you sort your tiles."),
    ("can", "Can of paint", ""),
)
COUNT_FIELDS: Final = (("tiles", "How many tiles", ""), ("coats", "Coats", ""))
FIGURE_FIELDS: Final = (
    ("width_mm", "Width as measured, mm", ""),
    ("height_mm", "Height as measured, mm", ""),
    ("tolerance_mm", "Give or take, mm", ""),
    ("warp_mm", "Warp, mm", "How far the middle stands off a flat bed."),
    ("weight_gained_g", "Weight gained by paint, whole lot, g", ""),
    (
        "dry_after_h",
        "Dry after, hours",
        "From the can, entered once. Left empty: overnight, which is common practice.",
    ),
)
_LARGEST: Final = 1e6


def lots() -> str:
    """List painting lots, and ask for another or for a change."""
    return _page("", {})


def describe_lot() -> BaseResponse:
    """Describe a painting lot, over what stood under its name."""
    with refusals_on(lambda why: _page(why, request.form)):
        lot = lot_in(request.form)
        app_context().daemon.ask(SaveLot(lot=lot, who=visitor_name()))
    return redirect(url_for("craft.lots"), 303)


def compare_lots() -> BaseResponse:
    """Say how much whiter one tile is than another, from a photo of both."""
    photo = next(iter(chosen_photos(request.files.getlist("photo"))), None)
    if photo is None:
        return with_status(_page(NO_PHOTO, {}), 422)
    home = app_context().pictures
    home.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=home, prefix=SCRATCH) as folder:
        photo.save(Path(folder) / PHOTO_NAME)
        try:
            ChildProcess(WORKER, {"verb": "compare", "folder": folder}).run()
        except ChildFailed as failure:
            is_for_storage = failure.kind == CARD_FAULT
            sentence = failure.sentence if failure.cause is Cause.FAILED else NOT_READ
            return with_status(_page(as_sentence(sentence), {}), 507 if is_for_storage else 422)
        found = (Path(folder) / FOUND_NAME).read_text(encoding="utf-8")
    return with_status(_page("", {}, found), 200)


def lot_in(form: Form) -> Lot:
    """Return the lot that was typed; its moment is by the box's clock."""
    texts = [name for name, _, _ in TEXT_FIELDS] + ["name", "surface", "notes"]
    typed: dict[str, object] = {name: form.get(name, "").strip() for name in texts}
    for name, label, _ in (*COUNT_FIELDS, *FIGURE_FIELDS):
        if form.get(name, "").strip():
            typed[name] = number(form, name, label, least=0, most=_LARGEST)
    for name, label, _ in COUNT_FIELDS:
        value = typed.get(name, 0)
        if not isinstance(value, (int, float)) or value != int(value):
            raise FormUnfit(f"{label}: a whole number.")
        typed[name] = int(value)
    if typed.get("dry_after_h", 0.0) == 0.0 and form.get("dry_after_h", "").strip():
        raise FormUnfit(f"Dry after, hours: more than 0, at most {LONGEST_DRYING_H:g}, or empty.")
    typed["painted_at_utc"] = _painted_in(form)
    with refusals_as_sentences():
        return Lot.from_table(typed | {"frost_rated": form.get("frost_rated") or FROST_RATED[0]})


def _painted_in(form: Form) -> str:
    try:
        when = datetime.fromisoformat(form.get("painted_at", ""))
        return when.astimezone(UTC).isoformat(timespec="seconds")
    except (ValueError, OverflowError, OSError) as error:
        raise FormUnfit("Say when it was painted: day and time.") from error


def dry_lots(surface: str) -> list[str]:
    """Return the names of the lots of `surface` that are dry now; no other is offered."""
    found = app_context().daemon.ask(Lots(surface=surface)).lots
    dry_at = {one.name: one.dry_at_utc for one in found if one.lot.surface == surface}
    return offered(dry_at, datetime.now(UTC).isoformat())


def _page(answer: str, typed: Mapping[str, str], compared: str = "") -> str:
    found = app_context().daemon.ask(Lots()).lots
    chosen = next((one for one in found if one.name == request.args.get("name")), None)
    now_utc = datetime.now(UTC).isoformat()
    return render_template(
        "catalogue/lots.html",
        lots=[_lot_view(one, now_utc) for one in found],
        surfaces=[one.name for one in app_context().daemon.ask(Surfaces()).surfaces],
        text_fields=TEXT_FIELDS,
        figure_fields=(*COUNT_FIELDS, *FIGURE_FIELDS),
        frost_rated=FROST_RATED,
        values=typed or (_typed(chosen.lot) if chosen else {}),
        answer=answer,
        compared=compared,
    )


def _lot_view(one: LotEntry, now_utc: str) -> View:
    lot = one.lot
    size = ""
    if lot.width_mm and lot.height_mm:
        size = f"{millimetres(lot.width_mm)} × {millimetres(lot.height_mm)} mm"
        if lot.tolerance_mm:
            size += f", give or take {millimetres(lot.tolerance_mm)}"
    return {
        "name": one.name,
        "surface": lot.surface,
        "made_of": ", ".join(filter(None, (lot.tile, lot.box, size, lot.can, lot.notes))),
        "is_dry": is_dry(one.dry_at_utc, now_utc),
        "dry_at": moment(one.dry_at_utc),
        "is_overnight_assumed": one.is_overnight_assumed,
        "etched": f"{counted(one.runs, 'tile', 'tiles')} etched"
        + (f" of {lot.tiles}" if lot.tiles else ""),
    }


def _typed(lot: Lot) -> dict[str, str]:
    """Return what a form would hold that had been filled in with this lot."""
    typed = {
        name: f"{value:g}" if isinstance(value, float) else str(value)
        for name, value in lot.to_table().items()
        if value
    }
    painted = datetime.fromisoformat(lot.painted_at_utc).astimezone()
    return typed | {"painted_at": painted.strftime("%Y-%m-%dT%H:%M")}
