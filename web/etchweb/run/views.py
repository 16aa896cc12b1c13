"""The page *Watch*: the tile as it etches, and what a person may ask of the machine."""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from flask import (
    Blueprint,
    Response,
    abort,
    g,
    jsonify,
    render_template,
    request,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import app_context
from etchweb.daemon.listener import Listener, ask_status
from etchweb.logbook.presenter import event_lines
from etchweb.run.after_end import WIPING, cooling_part
from etchweb.run.cause_presenter import is_told_by, past_causes, reason_of
from etchweb.run.cautions import CAUTIONS
from etchweb.run.due_tests import due_tests
from etchweb.run.filter_due import filter_due
from etchweb.run.interlock_presenter import answers_from
from etchweb.run.stream import TRY_AGAIN_S, EventFrames, view_of
from etchweb.server.forms import Form
from etchweb.server.responses import done_response, message_response, status_of
from etchweb.text.emergencies import LOCAL_RULES_FIRST
from etchweb.text.formatting import as_sentence
from etchweb.text.view import View
from etchwire.calls.call import Call, Done
from etchwire.calls.catalogue import Cards
from etchwire.calls.history import Run, RunEvent, RunEvents
from etchwire.calls.machine import (
    AnswerRound,
    Arm,
    Disarm,
    Hold,
    HoldNow,
    Reset,
    Resume,
    Start,
    Status,
    Stop,
)
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import DaemonAbsent, Refused

pages = Blueprint("watch", __name__)

LOOK_FOR_THE_PHONE_S: Final = 0.25
ASK_WHETHER_PAIRED_S: Final = 5.0
LATE_CARDS: Final = 20


@dataclass(frozen=True, slots=True)
class Action:
    """The kind of call that a button makes, and how that call is filled in from its form."""

    kind: type[Call[Done]]
    call: Callable[[Form], Call[Done]]


def _arm(form: Form) -> Arm:
    report = app_context().daemon.ask(Status()).interlocks
    return Arm(answers=answers_from(form, report), acknowledge=tuple(form.getlist("has read")))


def _start(form: Form) -> Start:
    return Start(
        acknowledge_long_run=form.get("long run") == "known",
        stays_until_end=form.get("who stays", "").strip(),
    )


# Address on the page (and endpoint), and what is asked.
ACTIONS: Final = {
    "arm": Action(Arm, _arm),
    "disarm": Action(Disarm, lambda _: Disarm()),
    "reset": Action(Reset, lambda form: Reset(names=tuple(form.getlist("name")))),
    "answer-round": Action(AnswerRound, lambda _: AnswerRound()),
    "start": Action(Start, _start),
    "hold": Action(Hold, lambda _: Hold(who=g.visitor.name)),
    "hold-now": Action(HoldNow, lambda _: HoldNow(who=g.visitor.name)),
    "resume": Action(Resume, lambda _: Resume()),
    "stop": Action(Stop, lambda _: Stop(who=g.visitor.name)),
}
NEEDS_A_LOOK: Final = ("arm", "start")

CAUTIONS_UNREAD: Final = "Read the cautions and tick the box below them, then press Get ready."
OTHER_PICTURE: Final = (
    "Another picture has been loaded since you looked. Look at it, then press again."
)
NO_ROOM: Final = "Eight phones are watching live; this one asks now and then."
STOP_ELSEWHERE: Final = "Use the stop circuit at the machine if you need it."


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
    here = app_context()
    if not here.streams.acquire(blocking=False):
        answer = jsonify(sentence=NO_ROOM)
        answer.status_code = 503
        answer.headers["Retry-After"] = str(TRY_AGAIN_S)
        return answer
    visitor, access = g.visitor, here.access
    has_left = request.environ.get("waitress.client_disconnected", lambda: False)
    frames = _frames(
        EventFrames(_offered()), here.listener, has_left, lambda: access.is_still_in(visitor)
    )
    answer = Response(frames, mimetype="text/event-stream")
    answer.headers["X-Accel-Buffering"] = "no"
    answer.call_on_close(here.streams.release)
    return answer


def act() -> BaseResponse:
    """Ask the daemon for what the address names, and show what came of it."""
    action = (request.endpoint or "").removeprefix("watch.")
    if action in NEEDS_A_LOOK:
        _require_the_same_tile()
    if action == "arm":
        _require_cautions()
        app_context().cautions_read[g.visitor.holder] = datetime.now().astimezone()
    return carry_out(lambda: app_context().daemon.ask(ACTIONS[action].call(request.form)))


def _read_today(now: datetime) -> str:
    """Return when this phone read the cautions, if that was today; a page started anew forgets."""
    read_at = app_context().cautions_read.get(g.visitor.holder)
    return read_at.isoformat() if read_at and read_at.date() == now.date() else ""


def carry_out(ask: Callable[[], object]) -> BaseResponse:
    """Do what `ask` asks of the daemon, and return what came of it."""
    try:
        ask()
    except Refused as refusal:
        return refused_with(as_sentence(str(refusal)), status_of(refusal))
    except DaemonAbsent as error:
        return refused_with(f"{as_sentence(str(error))} {STOP_ELSEWHERE}", 503)
    return done_response("watch.show")


for _name in ACTIONS:
    pages.add_url_rule(f"/{_name}", _name, act, methods=["POST"])


def _require_cautions() -> None:
    if request.form.get("cautions") != "read":
        abort(refused_with(CAUTIONS_UNREAD, 422))


def _require_the_same_tile() -> None:
    if request.form.get("tile") != _view()["tile"]:
        abort(refused_with(OTHER_PICTURE, 409))


def refused_with(sentence: str, status: int) -> BaseResponse:
    """Return this page with a sentence that says why nothing was done."""
    return message_response(sentence, status, _page)


def _page(answer: str) -> str:
    report = ask_status(app_context().daemon)
    view, events = view_of(report, _offered()), _events(report.snapshot)
    return render_template(
        "run/watch.html",
        view=view,
        answer=answer,
        cautions=CAUTIONS,
        local_rules_first=LOCAL_RULES_FIRST,
        events=event_lines(events),
        cautions_read_at=_read_today(datetime.now().astimezone()),
        wiping=WIPING,
        **_cooling(report.snapshot),
        card_number=_card_to_photograph(report.snapshot),
        due=due_tests(app_context().daemon, report.snapshot),
        filter_due=filter_due(app_context().daemon, report.snapshot),
        **_causes(report.snapshot, events),
    )


def _card_to_photograph(snapshot: Snapshot | None) -> int | None:
    """Return the number of the test card whose etch has just ended whole, if it is one."""
    if snapshot is None or snapshot.job is None or snapshot.job.card is None:
        return None
    if snapshot.state != "ended" or snapshot.run is None or snapshot.run.ended != "complete":
        return None
    try:
        cards = app_context().daemon.ask(Cards(limit=LATE_CARDS)).cards
    except (DaemonAbsent, Refused):
        return None
    whole = snapshot.job.picture_sha256
    return next((card.number for card in cards if card.gcode_sha256 == whole), None)


def _causes(snapshot: Snapshot | None, events: Sequence[RunEvent]) -> View:
    """Return what the card about causes needs of the run's events."""
    if snapshot is None:
        return {"past": [], "tripped_at": {}, "is_because_told": False}
    past, tripped_at = past_causes(events, snapshot.interlocks)
    is_told = is_told_by(events, as_sentence(reason_of(snapshot)))
    return {"past": past, "tripped_at": tripped_at, "is_because_told": is_told}


def _cooling(snapshot: Snapshot | None) -> View:
    """Return how long the tile of an etch that came to its end still cools."""
    run = snapshot and snapshot.run
    if not run or run.ended != "complete":
        return {}
    try:
        ended_at_utc = app_context().daemon.ask(Run(id=run.id)).ended_at_utc
    except (DaemonAbsent, Refused):
        ended_at_utc = None
    return cooling_part(ended_at_utc, datetime.now(UTC))


def _events(snapshot: Snapshot | None) -> Sequence[RunEvent]:
    """Return what happened in the run; the tile can be watched without it."""
    if snapshot is None or snapshot.run is None or snapshot.job is None:
        return ()
    try:
        return app_context().daemon.ask(RunEvents(id=snapshot.run.id)).events
    except (DaemonAbsent, Refused):
        return ()


def _view() -> View:
    return view_of(ask_status(app_context().daemon), _offered())


def _offered() -> tuple[str, ...]:
    """Return the daemon's methods that the visitor may call."""
    methods = [
        action.kind.method() for name, action in ACTIONS.items() if g.visitor.may(f"watch.{name}")
    ]
    return (*methods, "set_power") if g.visitor.may("shading.ask_for_shade") else tuple(methods)


def _frames(
    frames: EventFrames,
    listener: Listener,
    has_left: Callable[[], bool],
    is_still_in: Callable[[], bool],
) -> Iterator[str]:
    asked_at_s = time.monotonic()
    while not has_left() and not listener.is_ending:
        report = listener.wait_for_news(frames.number, LOOK_FOR_THE_PHONE_S)
        now_s = time.monotonic()
        if now_s - asked_at_s > ASK_WHETHER_PAIRED_S:
            asked_at_s = now_s
            if not is_still_in():
                return
        frame = frames.next_frame(report, now_s)
        if frame is not None:
            yield frame
        elif report.number > frames.number:
            listener.pause(LOOK_FOR_THE_PHONE_S)  # there is news, but it is too soon to send it
