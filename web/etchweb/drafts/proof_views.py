"""*New picture*, at last: the proof, the place on the bed, and onto the bench."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from typing import Final

from flask import abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.lots import dry_lots
from etchweb.context import app_context, visitor_name
from etchweb.daemon.late_end import late_end
from etchweb.drafts.draft import Draft
from etchweb.drafts.earlier import kept_of, with_caution
from etchweb.drafts.forms import MENDS, with_place
from etchweb.drafts.made import MadeJob
from etchweb.drafts.presenter import proof_view
from etchweb.drafts.step_views import decided, go, unfit
from etchweb.drafts.store import DRAFT_NAME, JOB_FOLDER, PHOTO_NAME, PICTURES_OF_JOB
from etchweb.drafts.views import drafts, found_draft, keep, waited_for, work_queue
from etchweb.previews.store import pass_on
from etchweb.server.forms import FormUnfit
from etchweb.server.responses import refusals_on, with_status
from etchweb.storage.made_from import keep_made_from
from etchwire.calls.catalogue import AssignTile
from etchwire.calls.machine import Status
from etchwire.calls.snapshot import MachineView
from etchwire.errors import DaemonAbsent, Refused
from etchwire.sheet import GCODE_NAME, SHEET_NAME

NOT_KEPT: Final = "The photo of this etch is no longer kept. Choose it again under New picture."
NO_TILE: Final = "Choose which tile of the mural is loaded."
UNREAD: Final = "Read the text beside the boxes and tick them, then load it."


def proof(draft_id: str) -> str | BaseResponse:
    """Show the tile as it will look, what will go wrong, and where it will lie."""
    draft = found_draft(draft_id)
    waiting = decided(draft)
    if waiting is not None:
        return waiting
    if draft.is_sign and draft.decoration.is_plain:
        return go("design", draft)
    answer = ""
    if request.method == "POST":
        try:
            draft = with_place(draft, request.form)
            keep(draft)
            return go("proof", draft)
        except FormUnfit as fault:
            answer = str(fault)
    page = _proof_page(draft, answer)
    return unfit(page) if answer else page


def mend(draft_id: str, finding: str) -> BaseResponse:
    """Do what mends what was found, and make the proof anew."""
    if finding not in MENDS:
        abort(404)
    _, mended = MENDS[finding]
    draft = mended(found_draft(draft_id))
    keep(draft)
    return go("proof", draft)


def _proof_page(draft: Draft, answer: str) -> str | BaseResponse:
    found = drafts().found(draft)
    if found is None:
        waiting = waited_for(draft, draft.making_verb, draft.found_key)
        if waiting is not None:
            return waiting
        found = drafts().found(draft)
        if found is None:
            return go("proof", draft)
    view = proof_view(draft, found, _machine())
    return render_template(
        "drafts/proof.html",
        draft=draft,
        view=view,
        late=late_end(app_context().daemon, _longest_s(found)),
        lots=_dry_lots(draft),
        answer=answer,
    )


def _longest_s(found: MadeJob) -> float:
    """Return how long an etch of it may last: of a mural, that of one tile."""
    return max((tile.predicted_s for tile in found.tiles), default=found.predicted_s)


def _dry_lots(draft: Draft) -> list[str]:
    """Return the lots of the draft's tile and paint that are dry; the page can do without."""
    try:
        return dry_lots(draft.recipe.surface if draft.recipe else "")
    except (DaemonAbsent, Refused):
        return []


def _machine() -> MachineView | None:
    """Return what is known of the machine, to draw its bed."""
    try:
        return app_context().daemon.ask(Status()).machine
    except (DaemonAbsent, Refused):
        return None


def put_on_bench(draft_id: str) -> BaseResponse:
    """Hand the job to the daemon, and go where it is watched and started."""
    draft = found_draft(draft_id)
    found = drafts().found(draft)
    if found is None:
        return go("proof", draft)
    to_read = {one.name for one in found.findings if one.must_be_read}
    if not to_read <= set(request.form.getlist("has read")):
        return with_status(_proof_page(draft, UNREAD), 422)
    folder = drafts().folder_of(draft.id)
    made, gcode_sha256 = folder / JOB_FOLDER, found.gcode_sha256
    if draft.wall:
        asked = request.form.get("tile", "")
        tile = next((one for one in found.tiles if f"{one.number}" == asked), None)
        if tile is None:
            return with_status(_proof_page(draft, NO_TILE), 422)
        made, gcode_sha256 = made / tile.job, tile.gcode_sha256
    pass_on(  # first: a card without room for them has no job on the bench either
        folder / PICTURES_OF_JOB,
        folder=app_context().pictures,
        gcode_sha256=gcode_sha256,
    )
    keep_made_from(
        app_context().pictures.parent,
        gcode_sha256,
        [folder / name for name in ((DRAFT_NAME,) if draft.is_sign else (DRAFT_NAME, PHOTO_NAME))],
    )
    daemon = app_context().daemon
    with refusals_on(partial(_proof_page, draft)):
        _assign_tile(draft, gcode_sha256)
        with _taken_back(gcode_sha256):
            daemon.load(made / GCODE_NAME, made / SHEET_NAME)
    if not draft.wall:  # the other tiles of a mural are etched next
        work_queue().forget(draft.id)
        drafts().clear_job(draft.id)
    return redirect(url_for("watch.show"), 303)


def _assign_tile(draft: Draft, gcode_sha256: str) -> None:
    """Say of which lot the tile is and for which order; nothing said is no lot and no order."""
    app_context().daemon.ask(
        AssignTile(
            lot=request.form.get("lot", ""),
            gcode_sha256=gcode_sha256,
            item=draft.item,
            design_sha256="" if draft.item is None else drafts().design_sha256(draft),
            mural=draft.mural,
            who=visitor_name(),
        )
    )


@contextmanager
def _taken_back(gcode_sha256: str) -> Iterator[None]:
    """Say that the tile is nobody's after all, where the job did not come onto the bench."""
    try:
        yield
    except (Refused, DaemonAbsent):
        with suppress(Refused, DaemonAbsent):
            app_context().daemon.ask(AssignTile(gcode_sha256=gcode_sha256, who=visitor_name()))
        raise


def begin_again(number: int) -> BaseResponse:
    """Begin a picture that was etched before, with the same photo and the same settings."""
    kept = kept_of(number)
    draft = None if kept is None else drafts().begin_from(kept)
    if draft is None:
        abort(404, NOT_KEPT)
    drafts().keep(with_caution(draft, number))
    return go("proof", draft)
