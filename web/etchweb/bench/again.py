"""A bench that was laid before, or one tile of it, laid again: the pictures as they were."""

import json
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.bench.files import LAID_NAME
from etchweb.bench.plan_form import POCKET, fields_of, plan_fields, to_plan
from etchweb.context import answered, app_context
from etchweb.drafts.draft import Draft
from etchweb.drafts.earlier import with_caution
from etchweb.drafts.store import DRAFT_NAME, PHOTO_NAME, kept_draft
from etchweb.drafts.views import awaited, drafts, work_queue
from etchweb.logbook.etch_record import first_of_chain
from etchweb.storage.made_from import keep_made_from, made_from
from etchwire.calls.history import Run
from etchwire.calls.machine import Status

NOT_KEPT: Final = (
    "What these tiles were made from is no longer kept. Lay their pictures again under Bench, or "
    "choose the photos again under New picture."
)


def keep_laid(gcode_sha256: str, laid: Path, pictures: Iterable[Draft]) -> None:
    """Keep what a bench was made from: `laid`, the file that says what lay where, and its pictures.

    An order keeps its own pictures, as long as its customer wishes.
    """
    free = {draft.id: draft for draft in pictures if draft.item is None}
    folders = {
        name: [
            drafts().folder_of(name) / file
            for file in ((DRAFT_NAME,) if draft.is_sign else (DRAFT_NAME, PHOTO_NAME))
        ]
        for name, draft in free.items()
    }
    keep_made_from(app_context().pictures.parent, gcode_sha256, [laid], folders)


def lay_again(number: int) -> BaseResponse:
    """Lay the tiles of etch `number` as they were; of those in `pocket`, where any is named."""
    record = first_of_chain(app_context().daemon, answered(Run(id=number)))
    kept = made_from(app_context().pictures.parent, record.gcode_sha256)
    laid = None if kept is None else laid_in(kept)
    if kept is None or laid is None:
        abort(404, NOT_KEPT)
    only = set(request.form.getlist("pocket"))
    plan = {pocket: one for pocket, one in laid["pockets"].items() if not only or pocket in only}
    pictures = _begun_again(kept, {one.partition(".")[0] for one in plan.values()}, number)
    again = {pocket: _named_anew(one, pictures) for pocket, one in plan.items()}
    if not any(again.values()):
        abort(404, NOT_KEPT)
    return _made(fields_of(laid["jig"], again))


def change_loaded() -> BaseResponse:
    """Show the plan of the job that is loaded, so that a tile can be left out or laid otherwise."""
    job = answered(Status()).job
    kept = None if job is None else made_from(app_context().pictures.parent, job.sha256)
    laid = None if kept is None else laid_in(kept)
    if laid is None:
        return redirect(url_for("bench.show"), 303)
    return to_plan("bench.show", fields_of(laid["jig"], laid["pockets"]))


def begin_making() -> BaseResponse:
    """Have every picture made that is laid in a plan, one after the other."""
    return _made(plan_fields(request.form))


def make() -> BaseResponse:
    """Show how far the pictures of a plan are; the plan, once no more of them is being made."""
    for draft in unmade(request.args):
        work = work_queue().of(draft.id)
        if work is not None and (work.verb, work.key) == (draft.making_verb, draft.found_key):
            waiting = awaited(draft, work)
            if waiting is not None:
                return waiting
    return to_plan("bench.show", plan_fields(request.args))


def unmade(form: Mapping[str, str]) -> list[Draft]:
    """Return the pictures of a plan whose job is not made, or of a picture that changed since."""
    laid = [one.partition(".")[0] for name, one in form.items() if name.startswith(POCKET)]
    found = (drafts().find(one) for one in dict.fromkeys(laid))
    return [one for one in found if one is not None and drafts().found(one) is None]


def laid_in(folder: Path) -> dict[str, Any] | None:
    """Return the jig and the pockets of a bench that is kept in `folder`; None where none is."""
    try:
        found = json.loads((folder / LAID_NAME).read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def _begun_again(kept: Path, names: Collection[str], number: int) -> dict[str, str]:
    """Return the drafts to lay now by those that were laid; one that is as it was serves again."""
    found = {}
    for name in names:
        was, now = kept_draft(kept / name), drafts().find(name)
        if now is not None and (was is None or now == was):
            found[name] = now.id
        elif was is not None and (anew := drafts().begin_from(kept / name)) is not None:
            drafts().keep(with_caution(anew, number))
            found[name] = anew.id
    return found


def _named_anew(laid: str, pictures: Mapping[str, str]) -> str:
    name, dot, tile = laid.partition(".")
    return f"{pictures[name]}{dot}{tile}" if name in pictures else ""


def _made(plan: Mapping[str, str]) -> BaseResponse:
    """Begin what a plan needs, and go where it is waited for."""
    for draft in unmade(plan):
        work_queue().begin(drafts().folder_of(draft.id), draft.making_verb, draft.found_key)
    return to_plan("bench.make", plan)
