"""*Bench*: lay pictures into a jig, see the plan to scale, load it as one job."""

import json
import shutil
from collections.abc import Iterable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from flask import Blueprint, Flask, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Jig
from etchphoto.layout.jig_measuring import with_measured_depth
from etchweb.bench import jig_views, next_jig
from etchweb.bench.files import BENCH_FOLDER, JOB_FOLDER, PICTURES_OF_JOB, PLAN_NAME
from etchweb.bench.presenter import Ready, choice_words, plan_view
from etchweb.bench.ready import accepted_item, ready_pictures
from etchweb.catalogue.lots import dry_lots
from etchweb.context import app_context, visitor_name
from etchweb.daemon.late_end import late_end
from etchweb.drafts.store import JOB_FOLDER as JOB_OF_DRAFT
from etchweb.drafts.store import Draft
from etchweb.drafts.views import drafts, work_queue
from etchweb.previews.store import pass_on
from etchweb.server.forms import Form, FormUnfit, number
from etchweb.server.responses import refusals_on, with_status
from etchweb.text.formatting import as_sentence
from etchwire.calls.catalogue import AssignTile, Jigs, Lots, Readings
from etchwire.catalogue.jigs import JigRecord
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from etchwire.storing import write_whole

pages = Blueprint("bench", __name__)

WAIT_S: Final = 20.0
STILL_MADE: Final = "The job of these tiles is still being prepared. Load it again in a moment."
NO_JIG: Final = "Choose a jig first."
UNREAD: Final = "Read what stands beside the box and tick it, then load the tiles."
NOT_ACCEPTED: Final = (
    "The customer has not said yes to “{title}” as it is now: show the proof, and note the answer."
)
_POCKET: Final = "pocket-"
_MOST_MM: Final = 100.0


@pages.get("/bench")
def show() -> str:
    """Show the jigs of the machine, and the plan of the one that was chosen."""
    return _page("", request.args)


@pages.post("/bench")
def load() -> BaseResponse:
    """Make one job of the pictures that are laid, and hand it to the daemon."""
    form = request.form
    with refusals_on(lambda why: _page(why, form)):
        jig = _jig_of(form)
        if jig is None:
            raise FormUnfit(NO_JIG)
        folder = _asked_for(jig, form)
        work = work_queue().begin(folder, "bench", folder.name)
        if not work_queue().wait(work, WAIT_S):
            return with_status(_page(STILL_MADE, form), 503)
        if work.failed:
            work_queue().forget(folder.name)
            return with_status(_page(as_sentence(work.failed), form), work.failed_status)
        job = folder / JOB_FOLDER
        sheet = read_sheet(job)
        gcode_sha256 = sheet.gcode_sha256
        pass_on(folder / PICTURES_OF_JOB, folder=app_context().pictures, gcode_sha256=gcode_sha256)
        app_context().daemon.ask(
            AssignTile(
                lot=form.get("lot", ""),
                gcode_sha256=gcode_sha256,
                items=tuple(sorted({part.item for part in sheet.parts if part.item})),
                who=visitor_name(),
            )
        )
        app_context().daemon.load(job / GCODE_NAME, job / SHEET_NAME)
    return redirect(url_for("watch.show"), 303)


def _asked_for(jig: JigRecord, form: Form) -> Path:
    """Return a folder with the plan that was asked for; raise FormUnfit or Refused."""
    lot = _lot_facts(form.get("lot", ""))
    thickness_mm = 0.0
    if form.get("thickness_mm", "").strip():
        thickness_mm = number(form, "thickness_mm", "Thickness, mm", least=0.0, most=_MOST_MM)
    laid_in = _laid_in(jig, form)
    for draft, _ in laid_in.values():
        if draft.item is not None and accepted_item(draft) is None:
            raise FormUnfit(NOT_ACCEPTED.format(title=draft.title))
    laid = [
        {
            "pocket": pocket,
            "job": str(drafts().folder_of(draft.id) / JOB_OF_DRAFT / ready.job),
            "item": draft.item or 0,
            "thickness_mm": thickness_mm,
            **lot,
        }
        for pocket, (draft, ready) in laid_in.items()
    ]
    lasers = {draft.head.name for draft, _ in laid_in.values() if draft.head is not None}
    table = _in_focus(jig, lasers).record.to_table()
    text = json.dumps({"name": jig.name, "jig": table, "laid": laid}, sort_keys=True)
    marks = [draft.found_key for draft, _ in laid_in.values()]
    name = sha256(json.dumps([text, marks]).encode()).hexdigest()[:16]
    folder = app_context().pictures.parent / BENCH_FOLDER / name
    _clear_others(folder)
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / PLAN_NAME, text)
    return folder


def _in_focus(record: JigRecord, lasers: Iterable[str]) -> Jig:
    """Return the jig with the depth of focus that the laser's focus card showed; raise FormUnfit.

    More lasers than one are refused where the job is made.
    """
    try:
        jig = Jig.of_record(record)
    except UnfitDesign as unfit:
        raise FormUnfit(as_sentence(str(unfit))) from unfit
    for laser in lasers:
        jig = with_measured_depth(jig, app_context().daemon.ask(Readings(head=laser)).readings)
    return jig


def _clear_others(folder: Path) -> None:
    """Throw away the jobs of other plans: what was loaded is in the daemon's keeping."""
    if folder.parent.is_dir():
        for other in folder.parent.iterdir():
            if other != folder:
                work_queue().forget(other.name)
                shutil.rmtree(other, ignore_errors=True)


def _lot_facts(name: str) -> dict[str, Any]:
    """Return what is known of the tiles of a lot; nothing where none was chosen."""
    if not name:
        return {}
    found = {one.name: one.lot for one in app_context().daemon.ask(Lots()).lots}.get(name)
    if found is None:
        raise FormUnfit("There is no such painting lot any more: choose another.")
    facts = ("width_mm", "height_mm", "warp_mm")
    return {"lot": name, **{fact: getattr(found, fact) for fact in facts}}


def _laid_in(jig: JigRecord, form: Mapping[str, str]) -> dict[int, tuple[Draft, Ready]]:
    """Return what lies in which pocket; raise FormUnfit where something was not read yet."""
    ready = ready_pictures()
    found: dict[int, tuple[Draft, Ready]] = {}
    for pocket in range(1, jig.columns * jig.rows + 1):
        chosen = form.get(f"{_POCKET}{pocket}", "")
        if chosen and chosen not in ready:
            raise FormUnfit("A picture was changed or deleted meanwhile: lay it again.")
        if chosen and ready[chosen][1].to_read and not form.get("has_read"):
            raise FormUnfit(UNREAD)
        if chosen:
            found[pocket] = ready[chosen]
    return found


def _jig_of(form: Mapping[str, str]) -> JigRecord | None:
    jigs = {one.name: one.jig for one in app_context().daemon.ask(Jigs()).jigs}
    return jigs.get(form.get("jig", ""))


def _page(answer: str, form: Mapping[str, str]) -> str:
    jigs = [one.name for one in app_context().daemon.ask(Jigs()).jigs]
    record, ready = _jig_of(form), ready_pictures()
    jig = None
    try:
        jig = None if record is None else Jig.of_record(record)
    except UnfitDesign as error:
        answer = answer or as_sentence(str(error))
    plan = late = None
    surfaces: set[str] = set()
    if jig is not None:
        chosen = {
            place.number: ready[form.get(f"{_POCKET}{place.number}", "")][1]
            for place in jig.places()
            if form.get(f"{_POCKET}{place.number}", "") in ready
        }
        surfaces = {one.surface for one in chosen.values()}
        plan = plan_view(jig, chosen)
        seconds = sum(one.predicted_s for one in chosen.values())
        late = late_end(app_context().daemon, seconds)
    return render_template(
        "bench/bench.html",
        jigs=jigs,
        chosen_jig=form.get("jig", ""),
        plan=plan,
        late=late,
        ready=[(key, choice_words(one)) for key, (_, one) in ready.items()],
        lots=dry_lots(surfaces.pop()) if len(surfaces) == 1 else [],
        values=form,
        answer=answer,
    )


pages.get("/bench/jig")(jig_views.show_jig)
pages.post("/bench/jig")(jig_views.measure_jig)
pages.get("/bench/next")(next_jig.lay)


def register(app: Flask) -> None:
    """Give `app` this page."""
    app.register_blueprint(pages)
