"""*Test cards*, once etched: photos and marks are read, and something is chosen from them."""

import json
from functools import partial
from typing import Final

from flask import jsonify, redirect, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchproof.card import FOCUS
from etchproof.reading.hand_marks import OTHER_WAY_ROUND, WEDGE
from etchweb.cards.forms import chosen_recipe, marks_after, meeting_pairs, trial_in
from etchweb.cards.presenter import pairs_by_feed, patch_to_try
from etchweb.cards.views import (
    card_page,
    card_workflow,
    found_card,
    go_to,
    layout_of,
)
from etchweb.cards.workflow import KnownCard
from etchweb.context import visitor_name
from etchweb.newcomer.views import next_address
from etchweb.server.csrf_and_headers import wants_json
from etchweb.server.forms import FormUnfit
from etchweb.server.picker import NO_PHOTO, chosen_photos, shown_name
from etchweb.server.responses import message_response, refusals_on, with_status
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.transport.json_text import JsonTable

MOST_PHOTOS: Final = 6

NOT_WIPED: Final = (
    "Let it cool, take it out and wipe it first: loose paint looks darker than what is fired in. "
    "Then tick the box."
)
NOT_READ_BEFORE: Final = (
    "There is no reading from before the trial: read the strip as it came from the laser, and keep "
    "that in the logbook first."
)
NOT_TRIED: Final = "First say whether the patch holds under a fingernail."
NOT_WIPED_AGAIN: Final = (
    "Nothing on this card is black: rub it with a wet cloth first. If the cloth takes any paint "
    "off, wipe it, take another photo and read that; else tick that it stays clean."
)
FILED: Final = "This is in the logbook already."


def read_photos(number: int) -> str | BaseResponse:
    """Take photos of the wiped tile, and have them read."""
    card = found_card(number)
    photos = chosen_photos(request.files.getlist("photo"))[:MOST_PHOTOS]
    if not photos:
        return _answer(card, NO_PHOTO, 422)
    if request.form.get("wiped") != "yes":
        return _answer(card, NOT_WIPED, 422)
    try:
        trial = trial_in(request.form)
    except FormUnfit as unfit:
        return _answer(card, str(unfit), 422)
    changes: JsonTable = {}
    if trial is not None:
        before = card_workflow().read_before(card)
        if not before:
            return _answer(card, NOT_READ_BEFORE, 422)
        changes = {"trial": {**trial, "before": before}}
    card.files.drop_photos()
    changes = {**changes, "names": [shown_name(photo.filename) for photo in photos]}
    kept = []
    try:
        for place, photo in enumerate(photos):
            path = card.files.photo_path(place)
            photo.save(path)
            kept.append(path.name)
        return _ask(card, photos=kept, is_wiped=True, reading="", overlays=[], **changes)
    except OSError:
        card.files.drop_photos()
        raise


def mark(number: int) -> str | BaseResponse:
    """Note what an eye, a fingernail or a scouring pad found on patches."""
    card = found_card(number)
    layout = layout_of(card)
    before = card_workflow().so_far(card)["marks"]
    with refusals_on(partial(card_page, card)):
        if layout.kind == FOCUS:  # of which nothing is marked but how its wedge lay
            marks = marks_after(request.form, before, {WEDGE}, (OTHER_WAY_ROUND,))
        else:
            marks = marks_after(request.form, before, {patch.cell for patch in layout.patches})
    return _ask(card, marks=marks)


def say_pairs(number: int) -> str | BaseResponse:
    """Note which pair of hairlines is one line at each speed."""
    card = found_card(number)
    with refusals_on(partial(card_page, card)):
        meets = meeting_pairs(request.form, pairs_by_feed(layout_of(card)))
    return _ask(card, meets=meets)


def choose(number: int) -> str | BaseResponse:
    """Put what it showed into the logbook, with what is chosen from it."""
    card = found_card(number)
    read = card.files.read()
    if read is None:
        return with_status(card_page(card, FILED), 409)
    recommended = read["recommended"]
    is_chosen = request.form.get("choose") == "yes"
    if is_chosen and patch_to_try(read["told"]):
        return with_status(card_page(card, NOT_TRIED), 422)
    if is_chosen and read["told"].get("is_wiping_asked") and request.form.get("cloth") != "clean":
        return with_status(card_page(card, NOT_WIPED_AGAIN), 422)
    with refusals_on(partial(card_page, card)):
        chosen = None
        if is_chosen:
            chosen = recommended
            if "feed" in request.form:
                settings = (recommended or {}).get("recipe") or layout_of(card).settings
                chosen = {"recipe": chosen_recipe(request.form, settings)}
        card_workflow().file_reading(card, chosen, visitor_name())
    layout = layout_of(card)
    pair = json.dumps([layout.head.name, layout.recipe.surface])
    return redirect(next_address(otherwise=url_for("cards.show", pair=pair)), 303)


def _ask(card: KnownCard, **changes: object) -> BaseResponse:
    try:
        card_workflow().ask(card, **changes)
    except (DaemonAbsent, Refused) as error:
        return _answer(card, as_sentence(str(error)), 503)
    if wants_json():
        return jsonify(sentence="", next=url_for("cards.show_card", number=card.number))
    return go_to(card.number)


def _answer(card: KnownCard, sentence: str, status: int) -> BaseResponse:
    return message_response(sentence, status, lambda why: card_page(card, why))
