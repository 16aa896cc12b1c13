"""The page *Watch*: the tile as it etches, and what a person may ask of the machine."""

import time
from collections.abc import Iterator
from typing import Any, Final

from flask import (
    Blueprint,
    Response,
    abort,
    current_app,
    jsonify,
    redirect,
    render_template,
    request,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.cautions import CAUTIONS
from etchweb.guard import wants_json
from etchweb.listening import ask_status
from etchweb.stream import TRY_AGAIN_S, Frames, view_of
from etchweb.words import as_sentence
from etchwire.errors import DaemonAbsent, Refused

pages = Blueprint("watch", __name__)

LOOK_FOR_THE_PHONE_S: Final = 0.25

# Address on the page, method of the daemon.
ACTIONS: Final = {
    "start": "start",
    "hold": "hold",
    "hold-now": "hold_now",
    "resume": "resume",
    "stop": "stop",
}

STATUS_OF_REFUSAL: Final = {"refused": 409, "job": 422, "busy": 503, "internal": 502}

CAUTIONS_UNREAD: Final = "Read the cautions and tick the box below them, then start."
OTHER_PICTURE: Final = "Another picture has been loaded since you looked. Look again, then start."


@pages.get("/")
def show() -> str:
    """Show the machine as it is now."""
    return _page("")


@pages.get("/watch.json")
def poll() -> Response:
    """Answer a phone that has no stream."""
    return jsonify(_view())


@pages.get("/watch/stream")
def stream() -> Response:
    """Keep a phone told; the ninth is asked to poll."""
    house = current_app.extensions["etchweb"]
    if not house.streams.acquire(blocking=False):
        answer = jsonify(sentence="Eight phones are watching live; this one asks now and then.")
        answer.status_code = 503
        answer.headers["Retry-After"] = str(TRY_AGAIN_S)
        return answer
    has_left = request.environ.get("waitress.client_disconnected", lambda: False)
    answer = Response(_frames(house.listener, has_left), mimetype="text/event-stream")
    answer.headers["X-Accel-Buffering"] = "no"
    answer.call_on_close(house.streams.release)
    return answer


@pages.post("/<any(start, 'hold', 'hold-now', resume, stop):action>")
def act(action: str) -> BaseResponse | tuple[Any, int]:
    """Ask the daemon for `action` and show what came of it."""
    if action == "start":
        _require_readiness()
    try:
        current_app.extensions["etchweb"].daemon.ask(ACTIONS[action])
    except Refused as refusal:
        return _answer(as_sentence(str(refusal)), STATUS_OF_REFUSAL.get(refusal.kind, 502))
    except DaemonAbsent as error:
        return _answer(
            f"{as_sentence(str(error))} Use the stop circuit at the machine if you need it.", 503
        )
    if wants_json():
        return jsonify(sentence="")
    return redirect(url_for("watch.show"), 303)


def _require_readiness() -> None:
    if request.form.get("cautions") != "read":
        abort(_answer_response(CAUTIONS_UNREAD, 422))
    if request.form.get("tile") != _view()["tile"]:
        abort(_answer_response(OTHER_PICTURE, 409))


def _answer_response(sentence: str, status: int) -> Response:
    return current_app.make_response(_answer(sentence, status))


def _answer(sentence: str, status: int) -> tuple[Any, int]:
    return (jsonify(sentence=sentence) if wants_json() else _page(sentence)), status


def _page(answer: str) -> str:
    return render_template("watch.html", view=_view(), answer=answer, cautions=CAUTIONS)


def _view() -> dict[str, Any]:
    return view_of(ask_status(current_app.extensions["etchweb"].daemon))


def _frames(listener: Any, has_left: Any) -> Iterator[str]:
    frames = Frames()
    while not has_left() and not listener.is_ending:
        heard = listener.wait_for_news(frames.number, LOOK_FOR_THE_PHONE_S)
        frame = frames.next_frame(heard, time.monotonic())
        if frame is not None:
            yield frame
        elif heard.number > frames.number:
            listener.pause(LOOK_FOR_THE_PHONE_S)  # there is news, but it is too soon to send it
