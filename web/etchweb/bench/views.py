"""*Bench*: lay pictures into a jig, see the plan to scale, load it as one job."""

import json
import shutil
from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Final

from flask import Blueprint, Flask, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Jig
from etchphoto.layout.jig_measuring import with_measured_depth
from etchweb.bench import again, jig_views, next_jig
from etchweb.bench.cut_off import FORM, cut_off_plan
from etchweb.bench.files import BENCH_FOLDER, JOB_FOLDER, LAID_NAME, PICTURES_OF_JOB, PLAN_NAME
from etchweb.bench.plan_form import POCKET, plan_fields
from etchweb.bench.pocket_lots import (
    LOT,
    LOT_OF_POCKET,
    check_strip_words,
    facts_by_lot,
    lot_of,
    without_check_strip,
)
from etchweb.bench.presenter import Ready, choice_words, plan_view
from etchweb.bench.ready import accepted_item, ready_pictures
from etchweb.catalogue.lots import dry_lots
from etchweb.context import LARGEST_NUMBER, app_context, visitor_name
from etchweb.daemon.late_end import late_end
from etchweb.drafts.draft import Draft
from etchweb.drafts.store import JOB_FOLDER as JOB_OF_DRAFT
from etchweb.drafts.views import drafts, work_queue
from etchweb.previews.store import pass_on
from etchweb.server.forms import Form, FormUnfit, number
from etchweb.server.responses import refusals_on, with_status
from etchweb.text.formatting import as_sentence
from etchwire.calls.catalogue import AssignedTile, AssignTile, Jigs, Readings
from etchwire.catalogue.jigs import JigRecord
from etchwire.errors import UnreadableSheet
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from etchwire.storing import write_whole

pages = Blueprint("bench", __name__)

WAIT_S: Final = 20.0
STILL_MADE: Final = "The job of these tiles is still being prepared. Load it again in a moment."
OTHER_PLAN: Final = (
    "Another phone has changed the plan meanwhile, and its tiles are being prepared instead. "
    "Agree on one plan, then load it."
)
NO_JIG: Final = "Choose a jig first."
UNREAD: Final = "Read the text beside the box and tick it, then load the tiles."
NOT_ACCEPTED: Final = (
    "The customer has not said yes to “{title}” as it is now: show the proof, and note the answer."
)
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
            shutil.rmtree(folder, ignore_errors=True)  # it was answered, and is not offered again
            return with_status(_page(as_sentence(work.failed), form), work.failed_status)
        job = folder / JOB_FOLDER
        try:
            sheet = read_sheet(job)
        except UnreadableSheet:  # given up, for there is one plan at a time
            return with_status(_page(OTHER_PLAN, form), 409)
        gcode_sha256 = sheet.gcode_sha256
        pass_on(folder / PICTURES_OF_JOB, folder=app_context().pictures, gcode_sha256=gcode_sha256)
        laid_in = _laid_in(jig, form)
        again.keep_laid(gcode_sha256, folder / LAID_NAME, [draft for draft, _ in laid_in.values()])
        app_context().daemon.ask(
            AssignTile(
                lot=form.get(LOT, ""),
                gcode_sha256=gcode_sha256,
                tiles=tuple(
                    AssignedTile(
                        pocket=pocket,
                        lot=form.get(f"{LOT_OF_POCKET}{pocket}", ""),
                        item=draft.item,
                        mural=draft.mural,
                    )
                    for pocket, (draft, _) in laid_in.items()
                ),
                who=visitor_name(),
            )
        )
        app_context().daemon.load(job / GCODE_NAME, job / SHEET_NAME)
    return redirect(url_for("watch.show"), 303)


def _asked_for(jig: JigRecord, form: Form) -> Path:
    """Return a folder with the plan that was asked for; raise FormUnfit or Refused."""
    thickness_mm = 0.0
    if form.get("thickness_mm", "").strip():
        thickness_mm = number(form, "thickness_mm", "Thickness, mm", least=0.0, most=_MOST_MM)
    laid_in = _laid_in(jig, form)
    set_names = {draft.id: _set_name(draft) for draft, _ in laid_in.values()}
    lots = facts_by_lot([form.get(LOT, ""), *(lot_of(pocket, form) for pocket in laid_in)])
    laid = [
        {
            "pocket": pocket,
            "job": str(drafts().folder_of(draft.id) / JOB_OF_DRAFT / ready.job),
            "item": draft.item or 0,
            "set_name": set_names[draft.id],
            "thickness_mm": thickness_mm,
            **lots[lot_of(pocket, form)],
        }
        for pocket, (draft, ready) in laid_in.items()
    ]
    lasers = {draft.head.name for draft, _ in laid_in.values() if draft.head is not None}
    table = _in_focus(jig, lasers).record.to_table()
    plan = {"name": jig.name, "jig": table, "laid": laid, FORM: plan_fields(form)}
    text = json.dumps(plan, sort_keys=True)
    marks = [draft.found_key for draft, _ in laid_in.values()]
    name = sha256(json.dumps([text, marks]).encode()).hexdigest()[:16]
    folder = app_context().pictures.parent / BENCH_FOLDER / name
    _clear_others(folder)
    if work_queue().of(name) is None:
        shutil.rmtree(folder, ignore_errors=True)  # what a page that died over it left
    folder.mkdir(parents=True, exist_ok=True)
    pockets = {f"{pocket}": ready.id for pocket, (_, ready) in laid_in.items()}
    write_whole(folder / LAID_NAME, json.dumps({"jig": jig.name, "pockets": pockets}))
    write_whole(folder / PLAN_NAME, text)
    return folder


def _set_name(draft: Draft) -> str:
    """Return what the tiles hang with that a draft makes; raise FormUnfit without its yes."""
    if draft.item is None:
        return draft.mural
    item = accepted_item(draft)
    if item is None:
        raise FormUnfit(NOT_ACCEPTED.format(title=draft.title))
    return f"item {item.id}" if item.item.is_set or draft.wall else ""


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


def _laid_in(jig: JigRecord, form: Mapping[str, str]) -> dict[int, tuple[Draft, Ready]]:
    """Return what lies in which pocket; raise FormUnfit where something was not read yet."""
    ready = ready_pictures()
    found: dict[int, tuple[Draft, Ready]] = {}
    for pocket in range(1, jig.columns * jig.rows + 1):
        chosen = form.get(f"{POCKET}{pocket}", "")
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
    lots: list[str] = []
    untested: set[str] = set()
    if jig is not None:
        laid = {
            place.number: ready[form.get(f"{POCKET}{place.number}", "")]
            for place in jig.places()
            if form.get(f"{POCKET}{place.number}", "") in ready
        }
        chosen = {pocket: one for pocket, (_, one) in laid.items()}
        lots, untested = _lots_offered([draft for draft, _ in laid.values()])
        plan = plan_view(jig, chosen)
        of_pockets = {pocket: lot_of(pocket, form) for pocket in chosen}
        plan["cautions"] = check_strip_words(of_pockets, untested)
        seconds = sum(one.predicted_s for one in chosen.values())
        late = late_end(app_context().daemon, seconds)
    return render_template(
        "bench/bench.html",
        jigs=jigs,
        chosen_jig=form.get("jig", ""),
        plan=plan,
        late=late,
        ready=[(key, choice_words(one)) for key, (_, one) in ready.items()],
        lots=[(lot, f"{lot}, no check strip yet" if lot in untested else lot) for lot in lots],
        has_own_lots=any(name.startswith(LOT_OF_POCKET) and form[name] for name in form),
        cut_off=None if plan else cut_off_plan(),
        values=form,
        plan_fields=plan_fields(form),
        unmade=[draft.title for draft in again.unmade(form)],
        answer=answer,
    )


def _lots_offered(pictures: Sequence[Draft]) -> tuple[list[str], set[str]]:
    """Return the dry lots of the one tile and paint of `pictures`, and the new ones among them."""
    pairs = {
        (draft.head.name, draft.recipe.surface)
        for draft in pictures
        if draft.head is not None and draft.recipe is not None
    }
    if len(pairs) != 1:
        return [], set()
    ((head, surface),) = pairs
    lots = dry_lots(surface)
    return lots, without_check_strip(lots, head=head, surface=surface) if lots else set()


pages.get("/bench/jig")(jig_views.show_jig)
pages.post("/bench/jig")(jig_views.measure_jig)
pages.get("/bench/next")(next_jig.lay)
pages.get("/bench/make")(again.make)
pages.post("/bench/make")(again.begin_making)
pages.get("/bench/loaded")(again.change_loaded)
pages.post(f"/bench/again/<int(max={LARGEST_NUMBER}):number>")(again.lay_again)


def register(app: Flask) -> None:
    """Give `app` this page."""
    app.register_blueprint(pages)
