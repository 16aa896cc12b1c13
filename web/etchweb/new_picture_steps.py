"""*New picture*, step by step: the tile, the cut, the look, the proof, and onto the bench."""

import json
from collections.abc import Callable, Mapping
from typing import Any, Final

from flask import current_app, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.drafts import JOB_FOLDER, PHOTO_NAME, PICTURES_OF_JOB, Draft
from etchweb.new_picture import drafts, found_draft, pages, waited_for
from etchweb.new_picture_forms import (
    TONE_WORDS,
    TONES,
    FormUnfit,
    cut_shape,
    largest_cut,
    with_cut,
    with_look,
    with_place,
    with_tile,
    with_turn,
)
from etchweb.new_picture_view import cut_view, proof_view, suggested_size, tile_size_px
from etchweb.picture_craft import Pair, ask_pairs
from etchweb.picture_kinds import KINDS, tried_name
from etchweb.words import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.sheet import GCODE_NAME, SHEET_NAME

UNREAD: Final = "Read what stands beside the boxes and tick them, then put it on the bench."
TURNS: Final = {"right": 1, "left": 3}
STATUS_OF_REFUSAL: Final = {"refused": 409, "job": 422, "busy": 503, "internal": 502}

Page = Callable[..., str | BaseResponse]


@pages.route("/<draft_id>/tile", methods=["GET", "POST"])
def tile(draft_id: str) -> str | BaseResponse:
    """Ask how large, and with which laser on which tile and paint."""
    draft = found_draft(draft_id)
    waiting = _photo_looked_at(draft)
    if waiting is not None:
        return waiting
    try:
        pairs = ask_pairs(current_app.extensions["etchweb"].daemon)
    except (DaemonAbsent, Refused) as error:
        return _said(_tile_page(draft, [], as_sentence(str(error))), 503)
    if request.method == "GET":
        return _tile_page(draft, pairs, "")
    try:
        draft = with_tile(draft, request.form, pairs)
    except FormUnfit as unfit:
        return _unfit(_tile_page(draft, pairs, str(unfit)))
    drafts().keep(draft)
    return _go("cut" if draft.recipe is not None else "tile", draft)


def _tile_page(draft: Draft, pairs: list[Pair], answer: str) -> str:
    chosen = next((pair for pair in pairs if pair.key == draft.chosen), None)
    width_mm, height_mm = _size_mm(draft)
    return render_template(
        "new_tile.html",
        draft=draft,
        pairs=[(json.dumps(pair.key), pair) for pair in pairs],
        chosen=chosen or next(iter(pairs), None),
        width_mm=width_mm,
        height_mm=height_mm,
        answer=answer,
    )


def _size_mm(draft: Draft) -> tuple[float, float]:
    if draft.width_mm and draft.height_mm:
        return draft.width_mm, draft.height_mm
    return suggested_size(_size_px(draft))


@pages.route("/<draft_id>/cut", methods=["GET", "POST"])
def cut(draft_id: str) -> str | BaseResponse:
    """Ask which part of the photo, and which way up."""
    draft = found_draft(draft_id)
    waiting = _photo_looked_at(draft) or _decided(draft)
    if waiting is not None:
        return waiting
    if request.method == "GET":
        return _cut_page(draft, "")
    turn = TURNS.get(request.form.get("turn", ""))
    if turn is not None:
        draft = with_turn(draft, turn)
        drafts().keep(draft)
        return _go("cut", draft)
    try:
        draft = with_cut(draft, request.form, _size_px(draft))
    except FormUnfit as unfit:
        return _unfit(_cut_page(draft, str(unfit)))
    drafts().keep(draft)
    return _go("look", draft)


def _cut_page(draft: Draft, answer: str) -> str:
    size_px = _size_px(draft)
    crop = draft.crop or largest_cut(cut_shape(draft, size_px))
    return render_template(
        "new_cut.html", draft=draft, view=cut_view(draft, crop, size_px), answer=answer
    )


@pages.route("/<draft_id>/look", methods=["GET", "POST"])
def look(draft_id: str) -> str | BaseResponse:
    """Ask whether it is a photo or lettering, and for its tones."""
    draft = found_draft(draft_id)
    waiting = _decided(draft)
    if waiting is not None:
        return waiting
    answer = ""
    if request.method == "POST":
        try:
            draft = with_look(draft, request.form)
            drafts().keep(draft)
            return _go("proof", draft)
        except FormUnfit as unfit:
            answer = str(unfit)
    waiting = None if drafts().tried(draft) else waited_for(draft, "try", draft.tried_key)
    if waiting is not None:
        return waiting
    page = render_template(
        "new_look.html",
        draft=draft,
        kinds=[(kind, tried_name(kind), words) for kind, words in KINDS.items()],
        tones=[
            (name, TONE_WORDS[name], least, getattr(draft, name)) for name, least in TONES.items()
        ],
        answer=answer,
    )
    return _unfit(page) if answer else page


@pages.route("/<draft_id>/proof", methods=["GET", "POST"])
def proof(draft_id: str) -> str | BaseResponse:
    """Show the tile as it will look, what will go wrong, and where it will lie."""
    draft = found_draft(draft_id)
    waiting = _decided(draft)
    if waiting is not None:
        return waiting
    answer = ""
    if request.method == "POST":
        try:
            draft = with_place(draft, request.form)
            drafts().keep(draft)
            return _go("proof", draft)
        except FormUnfit as unfit:
            answer = str(unfit)
    page = _proof_page(draft, answer)
    return _unfit(page) if answer else page


def _proof_page(draft: Draft, answer: str) -> str | BaseResponse:
    found = drafts().found(draft)
    if found is None:
        waiting = waited_for(draft, "make", draft.found_key)
        if waiting is not None:
            return waiting
        found = drafts().found(draft) or {}
    view = proof_view(draft, found, _machine())
    return render_template("new_proof.html", draft=draft, view=view, answer=answer)


def _machine() -> Mapping[str, Any]:
    """Return what is known of the machine, to draw its bed."""
    try:
        machine: Mapping[str, Any] = current_app.extensions["etchweb"].daemon.ask("status")[
            "machine"
        ]
    except (DaemonAbsent, Refused):
        return {}
    return machine


@pages.post("/<draft_id>/bench")
def put_on_bench(draft_id: str) -> BaseResponse:
    """Hand the job to the daemon, and go where it is watched and started."""
    draft = found_draft(draft_id)
    found = drafts().found(draft)
    if found is None:
        return _go("proof", draft)
    to_read = {one["name"] for one in found["findings"] if one["must_be_read"]}
    if not to_read <= set(request.form.getlist("has read")):
        return _said(_proof_page(draft, UNREAD), 422)
    folder = drafts().folder_of(draft.id)
    try:
        current_app.extensions["etchweb"].daemon.load(
            folder / JOB_FOLDER / GCODE_NAME, folder / JOB_FOLDER / SHEET_NAME
        )
    except Refused as refusal:
        status = STATUS_OF_REFUSAL.get(refusal.kind, 502)
        return _said(_proof_page(draft, as_sentence(str(refusal))), status)
    except DaemonAbsent as error:
        return _said(_proof_page(draft, as_sentence(str(error))), 503)
    _leave_pictures(draft, found)
    return redirect(url_for("watch.show"), 303)


def _leave_pictures(draft: Draft, found: Mapping[str, Any]) -> None:
    """Put the job's pictures where the page looks for them."""
    pictures = current_app.extensions["etchweb"].pictures
    pictures.mkdir(parents=True, exist_ok=True)
    folder = drafts().folder_of(draft.id)
    for picture in (folder / PICTURES_OF_JOB).glob(f"{found['gcode_sha256']}*"):
        unfinished = pictures / f"{picture.name}.{draft.id}"
        unfinished.write_bytes(picture.read_bytes())
        unfinished.replace(pictures / picture.name)


def _photo_looked_at(draft: Draft) -> BaseResponse | None:
    """Return the page to show while the photo is not looked at."""
    if drafts().facts(draft.id) is not None:
        return None
    if not (drafts().folder_of(draft.id) / PHOTO_NAME).exists():
        return redirect(url_for("new_picture.show"), 303)
    return waited_for(draft, "take", "photo")


def _decided(draft: Draft) -> BaseResponse | None:
    """Lead back to the first step that was left out."""
    if draft.recipe is None:
        return _go("tile", draft)
    return None


def _size_px(draft: Draft) -> tuple[int, int]:
    facts = drafts().facts(draft.id) or {}
    return tile_size_px(facts, draft.quarters)


def _go(step: str, draft: Draft) -> BaseResponse:
    return redirect(url_for(f"new_picture.{step}", draft_id=draft.id), 303)


def _unfit(page: str | BaseResponse) -> BaseResponse:
    return _said(page, 422)


def _said(page: str | BaseResponse, status: int) -> BaseResponse:
    answer = current_app.make_response(page)
    answer.status_code = status
    return answer
