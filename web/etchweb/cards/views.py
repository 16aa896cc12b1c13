"""*Test cards*: made, etched, read by camera and by hand, and chosen from."""

import json
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Final

from flask import (
    abort,
    jsonify,
    redirect,
    render_template,
    request,
    send_from_directory,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from etchproof.card import BED_PLACES, Card
from etchproof.choosing.next_card import NextCard, PairState, next_card
from etchproof.drift.advice import advice_on
from etchproof.drift.rules import DueTest
from etchweb.cards.disturbance import disturbances
from etchweb.cards.forms import card_order
from etchweb.cards.patch_grid import PatchGrid, measured_patches, patch_grid
from etchweb.cards.presenter import (
    BY_PATCH,
    card_questions,
    card_view,
    line_of,
    pairs_by_feed,
    result_view,
)
from etchweb.cards.story import charts_over_time, event_words, filed_words, reading_of
from etchweb.cards.workflow import CardWorkflow, KnownCard
from etchweb.catalogue.pairs import Pair, ask_pairs, pair_of_key, preselected
from etchweb.catalogue.remembered_pair import asked_pair, remember_pair, remembered_pair
from etchweb.context import app_context, visitor_name
from etchweb.daemon.late_end import late_end
from etchweb.drafts.views import work_queue
from etchweb.server.csrf_and_headers import CACHE_FOR_EVER
from etchweb.server.forms import FormUnfit
from etchweb.server.responses import refusals_on, with_status
from etchweb.storage.card_files import OVERLAY, CardFiles, thumb_of
from etchweb.text.formatting import as_sentence
from etchweb.workers.work import WorkItem
from etchwire.calls.catalogue import Cards, ReadingEntry, Readings
from etchwire.calls.history import Run, RunEvents
from etchwire.calls.time_line import History, TimeLine, TimeLineEvent
from etchwire.errors import DaemonAbsent, Refused
from etchwire.transport.json_text import JsonTable

CARDS_ON_A_PAGE: Final = 50
EVENTS_ON_A_PAGE: Final = 60
WAIT_S: Final = 1.5
MAKE_CARD_S: Final = 15.0

NO_SUCH: Final = "There is no such test card."


def show() -> BaseResponse:
    """List the test cards, and the story of one laser on one tile and paint."""
    daemon = app_context().daemon
    pairs = ask_pairs(daemon)
    asked = asked_pair(pairs)
    chosen = asked or remembered_pair(pairs) or next(iter(pairs), None)
    found = daemon.ask(Cards(limit=CARDS_ON_A_PAGE))
    events: tuple[TimeLineEvent, ...] = ()
    readings: tuple[ReadingEntry, ...] = ()
    due: tuple[DueTest, ...] = ()
    if chosen is not None:
        head, surface = chosen.key
        events = daemon.ask(TimeLine(head=head, surface=surface, limit=EVENTS_ON_A_PAGE)).events
        readings = daemon.ask(Readings(head=head, surface=surface, limit=EVENTS_ON_A_PAGE)).readings
        due = advice_on(daemon.ask(History(head=head, surface=surface)))
    thumbs = _thumbs_of(readings)
    page = render_template(
        "cards/cards.html",
        cards=[line_of(card) for card in found.cards],
        lasers=list(dict.fromkeys(pair.head.name for pair in pairs)),
        surfaces=list(dict.fromkeys(pair.surface.name for pair in pairs)),
        chosen=chosen,
        chosen_key="" if chosen is None else json.dumps(chosen.key),
        events=[
            (event.at_utc, event_words(event), thumbs.get(reading_of(event))) for event in events
        ],
        courses=charts_over_time(events),
        advice=[one.advice for one in due],
        next_card=None if chosen is None else _next_card(chosen, readings),
    )
    answer = with_status(page, 200)
    if asked is not None:
        remember_pair(answer, asked)
    return answer


def _thumbs_of(readings: Sequence[ReadingEntry]) -> dict[int | None, str]:
    """Return the address of the card's small picture for each reading that has one, by its id."""
    folder = app_context().pictures.parent
    return {
        reading.id: url_for("cards.overlay", number=reading.card_number, name=thumb_of(kept[0]))
        for reading in readings
        if (kept := CardFiles.of(folder, reading.card_number).overlays(reading.photos))
    }


def _next_card(pair: Pair, readings: Sequence[ReadingEntry]) -> NextCard | None:
    return next_card(PairState.of(pair.head, pair.recipe, (one.kind for one in readings)))


def new() -> str | BaseResponse:
    """Ask what a test card is to find out, and have it laid out."""
    pairs = ask_pairs(app_context().daemon)
    if request.method == "GET":
        return _new_page(pairs, request.args, "")
    pair = pair_of_key(request.form.get("pair", ""), pairs)
    try:
        taken = card_workflow().taken_places()
        card_order(request.form, pair, 1, taken)  # refused before a number is taken
        number = card_workflow().begin(lambda number: card_order(request.form, pair, number, taken))
    except FormUnfit as unfit:
        return with_status(_new_page(pairs, request.form, str(unfit)), 422)
    except (DaemonAbsent, Refused) as error:
        return with_status(_new_page(pairs, request.form, as_sentence(str(error))), 503)
    return _loaded(number) if request.form.get("then") == "load" else go_to(number)


def _loaded(number: int) -> str | BaseResponse:
    """Load a card as soon as it is made; one that takes longer is loaded from its own page."""
    making = card_workflow().making(found_card(number))
    if making is not None:
        work_queue().wait(making, MAKE_CARD_S)  # few wait at once: a stop must find a thread
    return put_on_bench(number) if found_card(number).layout is not None else go_to(number)


def _new_page(pairs: list[Pair], typed: Mapping[str, str], answer: str) -> str:
    chosen = pair_of_key(typed.get("pair", ""), pairs) or preselected(app_context().daemon, pairs)
    tiles = sorted({place.tile for place in card_workflow().taken_places()})
    return render_template(
        "cards/new.html",
        tiles=tiles,
        pairs=_choices(pairs),
        chosen=chosen,
        questions=card_questions(),
        bed_places=BED_PLACES,
        typed=typed,
        answer=answer,
    )


def show_card(number: int) -> str | BaseResponse:
    """Show one test card: how far it is, what it showed, what may be chosen."""
    return card_page(found_card(number), "")


def work(number: int) -> BaseResponse:
    """Tell how far the work on a test card is."""
    card = found_card(number)
    under_way = card_workflow().making(card) or card_workflow().reading(card)
    if under_way is None or under_way.over.is_set():
        return jsonify(share=1.0, over=True)
    return jsonify(share=under_way.share, over=False)


def overlay(number: int, name: str) -> BaseResponse:
    """Return a photo with what was read where, or the small one that lists show."""
    parts = OVERLAY.fullmatch(name)
    if not parts:
        abort(404)
    folder = CardFiles.of(app_context().pictures.parent, number).folder
    if parts[1] and not (folder / name).exists():  # of an earlier release
        return redirect(url_for("cards.overlay", number=number, name=name.replace(parts[1], "")))
    answer = send_from_directory(folder.absolute(), name)
    answer.headers["Cache-Control"] = CACHE_FOR_EVER.replace("public", "private")
    return answer


def put_on_bench(number: int) -> str | BaseResponse:
    """File the card, and put its job where it is watched and started."""
    card = found_card(number)
    with refusals_on(partial(card_page, card)):
        card_workflow().put_on_bench(card, visitor_name())
    return redirect(url_for("watch.show"), 303)


def card_page(card: KnownCard, answer: str) -> str | BaseResponse:
    """Return the page of a test card, or of the work on it."""
    workflow = card_workflow()
    failed: WorkItem | None = None
    for under_way in (workflow.making(card), workflow.reading(card)):
        if under_way is None:
            continue
        under_way.over.wait(WAIT_S)
        if not under_way.over.is_set():
            return render_template("cards/working.html", number=card.number, work=under_way)
        failed = failed or (under_way if under_way.failed else None)
    names = (card.files.asked() or {}).get("names", [])
    sentence = as_sentence(failed.failed, keeps=names) if failed else ""
    page = _page_of(found_card(card.number), answer, sentence)
    if failed is None:
        return page
    workflow.forget_work(card)
    return with_status(page, failed.failed_status)


def _page_of(card: KnownCard, answer: str, failed: str) -> str:
    layout = card.layout
    if layout is None:
        return render_template("cards/failed.html", sentence=failed)
    read, made = card.files.read(), card.files.made()
    so_far = card_workflow().so_far(card)
    filed = None if read else card_workflow().filed(card.number)
    bed = card_workflow().bed_focus(card)
    return render_template(
        "cards/card.html",
        number=card.number,
        card=card_view(layout, made, card.record),
        late=late_end(app_context().daemon, None if read or not made else made["predicted_s"]),
        measured=[] if layout.kind in BY_PATCH else measured_patches(layout, so_far["reading"]),
        grid=_grid_of(layout, so_far, read),
        feeds=pairs_by_feed(layout),
        so_far=so_far,
        told=result_view(layout, read) if read else None,
        greys_left_behind=card_workflow().greys_left_behind(card) if read else "",
        filed=filed_words(filed) if filed else "",
        disturbed=_disturbances(card),
        bed=bed.sentences() if bed else [],
        overlays=card.files.overlays(so_far["overlays"]),
        has_job=card.files.job() is not None,
        pair=json.dumps([layout.head.name, layout.recipe.surface]),
        answer=answer or failed,
    )


def _grid_of(layout: Card, so_far: JsonTable, read: JsonTable | None) -> PatchGrid | None:
    if layout.kind not in BY_PATCH:
        return None
    told = read["told"] if read else None
    return patch_grid(layout, so_far["reading"], so_far["marks"], told)


def _disturbances(card: KnownCard) -> str:
    """Return what disturbed the etch of `card`; nothing where it is not known."""
    run = card.record.run_id if card.record else None
    if run is None:
        return ""
    daemon = app_context().daemon
    try:
        return disturbances(daemon.ask(Run(id=run)), daemon.ask(RunEvents(id=run)).events)
    except (DaemonAbsent, Refused):
        return ""


def found_card(number: int) -> KnownCard:
    """Return the card that the address names, or end the request."""
    card = card_workflow().find(number)
    if card is None:
        abort(404, NO_SUCH)
    return card


def layout_of(card: KnownCard) -> Card:
    """Return a card's layout, or end the request while there is none."""
    layout = card.layout
    if layout is None:
        abort(409, "This test card is still being laid out.")
    return layout


def _choices(pairs: list[Pair]) -> list[tuple[str, Pair]]:
    return [(json.dumps(pair.key), pair) for pair in pairs]


def card_workflow() -> CardWorkflow:
    """Return the card workflow of the application in hand."""
    here = app_context()
    return CardWorkflow(here.daemon, here.pictures.parent, here.pictures, work_queue())


def go_to(number: int) -> BaseResponse:
    """Lead to a test card."""
    return redirect(url_for("cards.show_card", number=number), 303)
