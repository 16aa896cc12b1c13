"""*New picture*: a photo comes in, and the drafts that are on their way."""

import time
from contextlib import suppress
from typing import Final

from flask import (
    Response,
    abort,
    current_app,
    jsonify,
    redirect,
    render_template,
    request,
    send_from_directory,
    url_for,
)
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.wrappers import Response as BaseResponse

from etchphoto.grey_mixes import GREY_MIXES
from etchweb.context import app_context, visitor_name
from etchweb.drafts.draft import Draft
from etchweb.drafts.earlier import earlier_in, with_caution
from etchweb.drafts.forms import MOST_TILES, for_order
from etchweb.drafts.store import (
    ARRIVING_NAME,
    DOTS_NAME,
    EARLY_NAME,
    MIXES_NAME,
    PHOTO_NAME,
    PLAN_NAME,
    PROOF_NAME,
    SCREEN_NAME,
    SEEN_NAME,
    TILE_NAME,
    WAYS_NAME,
    Drafts,
    cut_name,
    tile_seen_name,
)
from etchweb.drafts.tile_choice import as_ordered, first_choices, with_first_choices
from etchweb.server.csrf_and_headers import wants_json
from etchweb.server.picker import NO_PHOTO, chosen_photos, shown_name
from etchweb.server.responses import message_response, with_status
from etchweb.storage.kept_for import allowances
from etchweb.storage.retention import clear_out
from etchweb.text.formatting import as_sentence
from etchweb.workers.work import WorkItem, WorkQueue
from etchwire.calls.orders import ItemEntry, NoteProof
from etchwire.catalogue.orders import CHANGED
from etchwire.errors import Refused

# Longer than that, a page with the progress on it is better than one that does not come.
LOOK_AT_PHOTO_S: Final = 5.0
WAIT_S: Final = 1.5
SHOWN: Final = frozenset(
    (
        SCREEN_NAME,
        SEEN_NAME,
        PROOF_NAME,
        EARLY_NAME,
        DOTS_NAME,
        PLAN_NAME,
        TILE_NAME,
        *map(cut_name, GREY_MIXES),
        MIXES_NAME,
        WAYS_NAME,
    )
)
TILES_SEEN: Final = frozenset(map(tile_seen_name, range(1, MOST_TILES + 1)))
KEEP_A_DAY: Final = "private, max-age=86400"  # its address changes with what is in it

GONE: Final = "This draft was deleted. Start again from its photo."
STATUS_OF_FAULT: Final = {"NotAPhoto": 415, "PhotoTooLarge": 413}


def drafts() -> Drafts:
    """Return the drafts of the application in hand."""
    kept: Drafts = current_app.extensions["etchweb drafts"]
    return kept


def work_queue() -> WorkQueue:
    """Return the work of the application in hand."""
    under_way: WorkQueue = current_app.extensions["etchweb works"]
    return under_way


def found_draft(draft_id: str) -> Draft:
    """Return the draft that the address names, or end the request."""
    draft = drafts().find(draft_id)
    if draft is None:
        abort(404, GONE)
    return draft


def keep(draft: Draft) -> None:
    """Keep a draft. Where its picture is another now, its order hears of it first.

    A yes that was withdrawn for nothing is asked for again; one that stood for another picture
    would go unnoticed.
    """
    before = drafts().find(draft.id)
    if draft.item is not None and (before is None or _shown_by(before) != _shown_by(draft)):
        _tell_order(draft)
        work_queue().forget(draft.id)
        drafts().clear_shown(draft.id)
    drafts().keep(draft)


def _shown_by(draft: Draft) -> tuple[int | None, str]:
    return draft.item, drafts().design_sha256(draft)


def _tell_order(draft: Draft) -> None:
    """Tell the order how its picture looks now: another than was shown withdraws a yes."""
    with suppress(Refused):  # the order is gone: the picture can still be etched
        app_context().daemon.ask(
            NoteProof(
                item=draft.item or 0,
                answer=CHANGED,
                design_sha256=drafts().design_sha256(draft),
                draft=draft.id,
                is_set=draft.wall is not None,
                who=visitor_name(),
            )
        )


def with_its_order(order: int, entry: ItemEntry) -> Draft | None:
    """Return the draft that an order names for an item, if it is here; it is the item's from now.

    A page that died over a list of orders may not have said so.
    """
    draft = drafts().find(entry.item.draft)
    if draft is not None and draft.item is None:
        draft = for_order(draft, MultiDict({"order": f"{order}", "item": f"{entry.id}"}))
        drafts().keep(draft)
    return draft


def show() -> str:
    """Ask for a photo, and show what is on its way."""
    return _page("")


def upload() -> BaseResponse:
    """Take a photo in, look whether it is one, and go on with it."""
    photo = next(iter(chosen_photos(request.files.getlist("photo"))), None)
    if photo is None:
        return message_response(NO_PHOTO, 422, _page)
    make_room()
    earlier = earlier_in(request.form)
    like = earlier[1] if earlier else drafts().find(request.form.get("like", ""))
    name = shown_name(photo.filename)
    draft = for_order(drafts().begin(name, like), request.form)
    try:
        work = _taken(draft, photo)
    except OSError:
        _forget(draft)
        raise
    if work.failed:
        _forget(draft)
        status = STATUS_OF_FAULT.get(work.failed_kind, work.failed_status)
        return message_response(as_sentence(work.failed, keeps=[name]), status, _page)
    facts = drafts().facts(draft.id)
    if draft.item is not None:
        draft = as_ordered(draft, app_context().daemon)
        keep(draft)
    if earlier is not None:
        draft = with_caution(draft, earlier[0])
        drafts().keep(draft)
    if facts is not None and like is None:
        draft = with_first_choices(draft, request.form, facts, app_context().daemon)
        keep(draft)
    step = "tile" if draft.recipe is None else "cut"
    target = url_for(f"new_picture.{step}", draft_id=draft.id)
    return jsonify(sentence="", next=target) if wants_json() else redirect(target, 303)


def begin_sign() -> BaseResponse:
    """Begin a sign, which needs no photo."""
    make_room()
    draft = for_order(drafts().begin_sign(), request.form)
    if draft.item is not None:
        draft = as_ordered(draft, app_context().daemon)
        keep(draft)
    return redirect(url_for("new_picture.tile", draft_id=draft.id), 303)


def make_room() -> None:
    """Throw away what is old, before more comes in."""
    now_s = time.time()
    folder = app_context().pictures.parent
    drafts().clear_old(now_s, of_orders=allowances(folder)["ordered_drafts"])
    clear_out(folder, now_s=now_s)


def _taken(draft: Draft, photo: FileStorage) -> WorkItem:
    folder = drafts().folder_of(draft.id)
    photo.save(folder / ARRIVING_NAME)  # a name of ours; the phone's own is only shown
    (folder / ARRIVING_NAME).rename(folder / PHOTO_NAME)
    work = work_queue().begin(folder, "take", "photo")
    work_queue().wait(work, LOOK_AT_PHOTO_S)
    return work


def put_away(draft_id: str) -> BaseResponse:
    """Throw a draft away."""
    _forget(found_draft(draft_id))
    return redirect(url_for("new_picture.show"), 303)


def work(draft_id: str) -> Response:
    """Tell how far the work on a draft is."""
    draft = found_draft(draft_id)
    under_way = work_queue().of(draft.id)
    if under_way is None:
        return jsonify(share=1.0, over=True, early="")
    return jsonify(
        share=under_way.share, over=under_way.over.is_set(), early=_early(draft, under_way)
    )


def _early(draft: Draft, under_way: WorkItem) -> str:
    """Return the address of the tile as it is so far; empty while there is none."""
    is_there = (drafts().folder_of(draft.id) / EARLY_NAME).exists()
    if under_way.verb != "make" or not is_there:
        return ""
    return url_for("new_picture.picture", draft_id=draft.id, name=EARLY_NAME, v=draft.found_key)


def cancel(draft_id: str) -> BaseResponse:
    """Give up the work on a draft, and go back to its look."""
    draft = found_draft(draft_id)
    under_way = work_queue().of(draft.id)
    work_queue().forget(draft.id)
    is_tried = under_way is not None and under_way.verb in ("make", "mural")
    return redirect(
        url_for("new_picture.look" if is_tried else "new_picture.cut", draft_id=draft.id), 303
    )


def picture(draft_id: str, name: str) -> Response:
    """Return a picture that was made of a draft."""
    draft = found_draft(draft_id)
    if name not in SHOWN | TILES_SEEN:
        abort(404)
    answer = send_from_directory(drafts().folder_of(draft.id).absolute(), name)
    answer.headers["Cache-Control"] = KEEP_A_DAY
    return answer


def waited_for(draft: Draft, verb: str, key: str) -> BaseResponse | None:
    """Have `verb` done; return nothing once it is, else the page to show meanwhile."""
    return awaited(draft, _begun(draft, verb, key))


def waiting_page(draft: Draft, verb: str, key: str) -> tuple[WorkItem, BaseResponse | None]:
    """Have `verb` done; return the work, and the page to show while it is not over."""
    under_way = _begun(draft, verb, key)
    return under_way, _page_meanwhile(draft, under_way)


def awaited(draft: Draft, under_way: WorkItem) -> BaseResponse | None:
    """Return nothing once work on a draft is done; else how far it is, or why it came to nothing.

    Why is told once: it is forgotten, and can be tried again.
    """
    page = _page_meanwhile(draft, under_way)
    if page is not None or not under_way.failed:
        return page
    work_queue().forget(draft.id)
    is_gone = under_way.verb == "take"
    if is_gone:
        drafts().forget(draft.id)
    sentence = as_sentence(under_way.failed, keeps=[draft.name])
    failed = render_template("drafts/failed.html", draft=draft, sentence=sentence, is_gone=is_gone)
    return with_status(failed, under_way.failed_status)


def _begun(draft: Draft, verb: str, key: str) -> WorkItem:
    failed = work_queue().failed(draft.id, verb, key)  # told once; looking again tries again
    return failed or work_queue().begin(drafts().folder_of(draft.id), verb, key)


def _page_meanwhile(draft: Draft, under_way: WorkItem) -> BaseResponse | None:
    if work_queue().wait(under_way, WAIT_S):
        return None
    early = _early(draft, under_way)
    page = render_template("drafts/working.html", draft=draft, work=under_way, early=early)
    return with_status(page, 200)


def _forget(draft: Draft) -> None:
    work_queue().forget(draft.id)
    drafts().forget(draft.id)


def _page(answer: str) -> str:
    known = [draft for draft in drafts().all() if draft.item is None]  # orders show theirs
    return render_template(
        "drafts/drafts.html",
        answer=answer,
        drafts=known,
        like=[draft for draft in known if draft.recipe is not None and not draft.is_sign],
        earlier=earlier_in(request.values),
        first=first_choices(app_context().daemon, request.values.get("pair", "")),
    )
