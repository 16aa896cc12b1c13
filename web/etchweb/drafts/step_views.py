"""*New picture*, step by step: the tile, the cut, the look."""

import json
from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

from flask import abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.pairs import Pair, ask_pairs, preselected
from etchweb.context import app_context
from etchweb.daemon.late_end import late_end
from etchweb.drafts.draft import Draft
from etchweb.drafts.forms import (
    NOT_ON_WALLS,
    RETOUCHES,
    TONE_WORDS,
    TONES,
    Part,
    cut_shape,
    largest_cut,
    mirrored,
    oval_percent,
    shades_text,
    with_cut,
    with_look,
    with_turn,
)
from etchweb.drafts.halftones import offered
from etchweb.drafts.presenter import cut_view, suggested_size, tile_size_px
from etchweb.drafts.sizes import size_choices
from etchweb.drafts.store import MIXES_NAME, PHOTO_NAME, WAYS_NAME, cut_name
from etchweb.drafts.tile_choice import chosen_pair, decide_tile, with_common_size
from etchweb.drafts.views import GONE, drafts, found_draft, keep, waited_for
from etchweb.server.forms import FormUnfit
from etchweb.server.responses import refusals_on, with_status
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused

TURNS: Final = {"right": 1, "left": 3}
MIX_WORDS: Final = {"eye": "As seen", "red": "Reds lighter", "blue": "Blues lighter"}

_SQUARE: Final = (1, 1)  # as which a sign begins

Page = Callable[..., str | BaseResponse]


def go_on(draft_id: str) -> BaseResponse:
    """Go to where the draft was left."""
    draft = found_draft(draft_id)
    if draft.recipe is None:
        return go("tile", draft)
    if draft.is_sign:
        return go("design", draft)
    return go("cut" if draft.crop is None else "look", draft)


def tile(draft_id: str) -> str | BaseResponse:
    """Ask how large, and with which laser on which tile and paint."""
    draft = found_draft(draft_id)
    waiting = None if draft.is_sign else _photo_looked_at(draft)
    if waiting is not None:
        return waiting
    daemon = app_context().daemon
    try:
        pairs = ask_pairs(daemon)
        chosen = chosen_pair(draft, pairs) or preselected(daemon, pairs)
    except (DaemonAbsent, Refused) as error:
        return with_status(_tile_page(draft, [], None, as_sentence(str(error))), 503)
    if request.method == "GET":
        return _tile_page(draft, pairs, chosen, "")
    with refusals_on(partial(_tile_page, draft, pairs, chosen)):
        form = with_common_size(request.form, _size_px(draft))
        draft = decide_tile(draft, form, pairs, daemon, shape=_shape(draft))
    keep(draft)
    if draft.recipe is None:
        return go("tile", draft)
    return go("design" if draft.is_sign else "cut", draft)


def _tile_page(draft: Draft, pairs: list[Pair], chosen: Pair | None, answer: str) -> str:
    width_mm, height_mm = _size_mm(draft)
    return render_template(
        "drafts/tile.html",
        draft=draft,
        pairs=[(json.dumps(pair.key), pair) for pair in pairs],
        chosen=chosen,
        width_mm=width_mm,
        height_mm=height_mm,
        shape=_shape(draft) if pairs else 1.0,
        sizes=size_choices(None),
        shades=request.form.get("shades", shades_text(draft)),
        answer=answer,
    )


def _shape(draft: Draft) -> float:
    """Return height over width of what is etched: the cut's, or the whole photo's."""
    left, top, right, bottom = draft.crop or (0.0, 0.0, 1.0, 1.0)
    width_px, height_px = _size_px(draft)
    return (bottom - top) * height_px / ((right - left) * width_px)


def _size_mm(draft: Draft) -> tuple[float, float]:
    if draft.width_mm and draft.height_mm:
        return draft.width_mm, draft.height_mm
    return suggested_size(_size_px(draft))


def cut(draft_id: str) -> str | BaseResponse:
    """Ask which part of the photo, and which way up."""
    draft = found_draft(draft_id)
    waiting = _photo_decided(draft)
    if waiting is not None:
        return waiting
    if request.method == "GET":
        return _cut_page(draft, "")
    turn = TURNS.get(request.form.get("turn", ""))
    if turn is not None:
        draft = with_turn(draft, turn)
        keep(draft)
        return go("cut", draft)
    if request.form.get("turn") == "mirror":
        keep(mirrored(draft))
        return go("cut", draft)
    with refusals_on(partial(_cut_page, draft)):
        draft = with_cut(draft, request.form, _size_px(draft))
    keep(draft)
    return go("look", draft)


def _cut_page(draft: Draft, answer: str) -> str:
    view = cut_view(draft, _crop(draft), _size_px(draft))
    return render_template("drafts/cut.html", draft=draft, view=view, answer=answer)


def _crop(draft: Draft) -> Part:
    return draft.crop or largest_cut(cut_shape(draft, _size_px(draft)))


def look(draft_id: str) -> str | BaseResponse:
    """Ask whether it is a photo or lettering, and for its tones."""
    draft = found_draft(draft_id)
    waiting = _photo_decided(draft)
    if waiting is not None:
        return waiting
    answer = ""
    if request.method == "POST":
        try:
            draft = with_look(draft, request.form, _crop(draft))
            keep(draft)
            return go("proof", draft)
        except FormUnfit as fault:
            answer = str(fault)
    waiting = None if drafts().tried(draft) else waited_for(draft, "try", draft.tried_key)
    tried = drafts().tried(draft)
    if waiting is not None or tried is None:
        return waiting or go("look", draft)
    chosen = draft.halftone if draft.is_halftone_chosen else tried.suited or draft.halftone
    page = render_template(
        "drafts/look.html",
        draft=draft,
        kinds=offered(tried),
        ways=(WAYS_NAME, list(tried.seconds), tried.part_dots),
        chosen=chosen,
        late=late_end(app_context().daemon, None if draft.wall else tried.seconds.get(chosen)),
        without_card=tried.without_card,
        black=tried.black,
        mixes=MIX_WORDS if tried.is_coloured else {},
        cut_name=cut_name,
        strip_of_mixes=(MIXES_NAME, list(MIX_WORDS), (draft.width_mm, draft.height_mm)),
        tones=_sliders(draft, TONES),
        retouches=_sliders(draft, RETOUCHES),
        hidden=NOT_ON_WALLS if draft.wall else (),
        shape_px=[round(side_mm * 10) for side_mm in draft.picture_mm or (1, 1)],
        oval=oval_percent(draft, _crop(draft)),
        answer=answer,
    )
    return unfit(page) if answer else page


def _sliders(draft: Draft, leasts: Mapping[str, int]) -> list[tuple[str, str, int, int]]:
    """Return name, words, least and value of each slider."""
    return [(name, TONE_WORDS[name], least, getattr(draft, name)) for name, least in leasts.items()]


def _photo_looked_at(draft: Draft) -> BaseResponse | None:
    """Return the page to show while the photo is not looked at."""
    if drafts().facts(draft.id) is not None:
        return None
    if not (drafts().folder_of(draft.id) / PHOTO_NAME).exists():
        return redirect(url_for("new_picture.show"), 303)
    return waited_for(draft, "take", "photo")


def _photo_decided(draft: Draft) -> BaseResponse | None:
    """Lead to what has to be decided first; a sign has no photo to be cut."""
    return go("design", draft) if draft.is_sign else _photo_looked_at(draft) or decided(draft)


def decided(draft: Draft) -> BaseResponse | None:
    """Lead back to the first step that was left out."""
    if draft.recipe is None:
        return go("tile", draft)
    return None


def _size_px(draft: Draft) -> tuple[int, int]:
    if draft.is_sign:
        return _SQUARE
    facts = drafts().facts(draft.id)
    if facts is None:
        abort(404, GONE)
    return tile_size_px(facts, draft.quarters)


def go(step: str, draft: Draft) -> BaseResponse:
    """Lead to a step of `draft`."""
    room = "designs" if step == "design" else "new_picture"
    return redirect(url_for(f"{room}.{step}", draft_id=draft.id), 303)


def unfit(page: str | BaseResponse) -> BaseResponse:
    """Show a form again whose figures cannot be meant."""
    return with_status(page, 422)
