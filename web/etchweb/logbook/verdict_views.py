"""The verdict on a wiped tile: asked for on the page of its etch, and kept in the logbook."""

from typing import Final

from flask import (
    Blueprint,
    abort,
    jsonify,
    redirect,
    request,
    send_from_directory,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import (
    LARGEST_NUMBER,
    absence_as_page,
    answered,
    app_context,
    visitor_name,
)
from etchweb.logbook.verdict_presenter import CHOICES, LONGEST_TEXT
from etchweb.logbook.views import etch_page
from etchweb.server.csrf_and_headers import CACHE_FOR_EVER, wants_json
from etchweb.server.picker import chosen_photos, shown_name
from etchweb.server.responses import message_response
from etchweb.storage.tile_photos import NAME, NoTilePhoto, keep_tile_photo
from etchweb.text.formatting import as_sentence
from etchwire.calls.catalogue import SaveVerdict
from etchwire.calls.history import Run
from etchwire.errors import Refused

pages = Blueprint("verdicts", __name__)

NO_VERDICT: Final = "Say first what the tile looks like."
TOO_LONG: Final = f"That is more than {LONGEST_TEXT} characters. Make it shorter."
_WORDS: Final = frozenset(choice.word for choice in CHOICES)


@pages.post(f"/logbook/<int(max={LARGEST_NUMBER}):number>/verdict")
def save(number: int) -> BaseResponse:
    """Keep what a person says of the wiped tile of an etch."""
    form = request.form
    said = {name: form.get(name, "").strip() for name in ("verdict", "cause", "note")}
    if said["verdict"] not in _WORDS:
        return _answer(number, NO_VERDICT, 422)
    pocket = form.get("pocket", type=int) if form.get("pocket") else None
    if max(map(len, said.values())) > LONGEST_TEXT:
        return _answer(number, TOO_LONG, 422)
    sent = next(iter(chosen_photos(request.files.getlist("photo"))), None)
    name = shown_name(sent.filename if sent else "")
    try:
        photo = ""
        if sent is not None:
            photo = keep_tile_photo(sent.save, app_context().pictures, called=name)
        with absence_as_page():
            app_context().daemon.ask(
                SaveVerdict(
                    run=number,
                    verdict=said["verdict"],
                    cause=said["cause"],
                    note=said["note"],
                    photo=photo,
                    pocket=pocket,
                    who=visitor_name(),
                )
            )
    except NoTilePhoto as error:
        return _answer(number, as_sentence(str(error), keeps=[name]), error.status)
    except Refused as refusal:
        return _answer(number, as_sentence(str(refusal)), 409)
    target = url_for("logbook.show_etch", number=number, _anchor="verdict")
    return jsonify(sentence="", next=target) if wants_json() else redirect(target, 303)


@pages.get("/tile/<name>")
def photo(name: str) -> BaseResponse:
    """Return a photo of a wiped tile; its name says what is in it, so it may be kept for ever."""
    if not NAME.fullmatch(name):
        abort(404)
    answer = send_from_directory(app_context().pictures.absolute(), name)
    answer.headers["Cache-Control"] = CACHE_FOR_EVER.replace("public", "private")
    return answer


@pages.post(f"/logbook/<int(max={LARGEST_NUMBER}):number>/forget-photo")
def forget_photo(number: int) -> BaseResponse:
    """Delete one kept photo of the wiped tile at once; what was said of the tile stays."""
    name = request.form.get("name", "")
    photos = {verdict.photo for verdict in answered(Run(id=number)).verdicts}
    if not NAME.fullmatch(name) or name not in photos:
        abort(404)
    (app_context().pictures / name).unlink(missing_ok=True)
    return redirect(url_for("logbook.show_etch", number=number, _anchor="verdict"), 303)


def _answer(number: int, sentence: str, status: int) -> BaseResponse:
    return message_response(sentence, status, lambda why: etch_page(number, why))
