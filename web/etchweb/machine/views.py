"""The page *Machine* in three tabs: where its head goes, what its wires do, how it is set."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final, TypeVar

from flask import (
    Blueprint,
    g,
    jsonify,
    render_template,
    request,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import app_context
from etchweb.machine.presenter import away_view, live_view, machine_view
from etchweb.run.views import STOP_ELSEWHERE
from etchweb.server.forms import Form
from etchweb.server.responses import done_response, message_response, status_of
from etchweb.text.formatting import as_sentence
from etchwire.calls.call import Call, Done
from etchwire.calls.machine import (
    FindOrigin,
    Home,
    Measure,
    MoveBy,
    MoveTo,
    SetOrigin,
    Settings,
    Status,
    Stop,
    TraceOutline,
    TryOutput,
    Unlock,
    Wiring,
)
from etchwire.errors import DaemonAbsent, Refused
from etchwire.plain import FURTHEST_MM

pages = Blueprint("machine", __name__, url_prefix="/machine")

Answer = TypeVar("Answer")

STEPS_MM: Final = ("0.1", "1", "10")
NO_PLACE: Final = "Say where in millimetres: how far to the right, and how far up."


NO_STEP: Final = "Choose how far the head is to go, and which way."
WAYS: Final = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}


class NoPlace(ValueError):
    """A form did not say where."""


def _move_to(form: Form) -> MoveTo:
    return MoveTo(x_mm=_length_mm(form.get("x", "")), y_mm=_length_mm(form.get("y", "")))


def nudge(form: Form) -> MoveBy:
    """Return the move that a form's arrow asks for; raise NoPlace."""
    way, step_mm = WAYS.get(form.get("way", "")), form.get("step", "")
    if way is None or step_mm not in STEPS_MM:
        raise NoPlace(NO_STEP)
    return MoveBy(x_mm=way[0] * float(step_mm), y_mm=way[1] * float(step_mm))


def _length_mm(text: str) -> float:
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise NoPlace(NO_PLACE) from None
    if not isfinite(value) or abs(value) > FURTHEST_MM:
        raise NoPlace(NO_PLACE)
    return value


# Address on the page (and endpoint), and what is asked.
MACHINE_ACTIONS: Final[Mapping[str, Callable[[Form], Call[Done]]]] = {
    "move": _move_to,
    "nudge": nudge,
    "trace": lambda form: TraceOutline(with_run_ups="run-ups" in form),
    "set-origin": lambda _: SetOrigin(),
    "find-origin": lambda _: FindOrigin(),
    "home": lambda _: Home(),
    "unlock": lambda _: Unlock(),
    "measure": lambda _: Measure(),
    "stop": lambda _: Stop(who=g.visitor.name),
    "try": lambda form: TryOutput(name=form.get("output", ""), on=form.get("on") != "no"),
}


@dataclass(frozen=True, slots=True)
class Tab:
    """One of the three parts of the page."""

    label: str
    endpoint: str


TABS: Final = {
    "move": Tab("Move", "machine.show"),
    "wiring": Tab("Wiring", "machine.show_wiring"),
    "settings": Tab("Settings", "machine.show_settings"),
}
TAB_OF_ACTION: Final = {"try": "wiring", "measure": "settings"}


@pages.get("")
def show() -> str:
    """Show the bed, and move the head."""
    return _page("move")


@pages.get("/wiring")
def show_wiring() -> str:
    """Show what is wired, and try it."""
    return _page("wiring")


@pages.get("/settings")
def show_settings() -> str:
    """Show the connection, and what the controller is set to."""
    return _page("settings")


@pages.get("/now.json")
def poll() -> BaseResponse:
    """Answer what changes; the wires only where somebody looks at them."""
    try:
        wiring = _answer(Wiring()) if "wiring" in request.args else None
        return jsonify(live_view(app_context().daemon.ask(Status()), wiring))
    except DaemonAbsent as error:
        return jsonify(away_view(str(error)))


def act() -> BaseResponse:
    """Ask the daemon for what the address names, and show what came of it."""
    name = (request.endpoint or "").removeprefix("machine.")
    tab = TAB_OF_ACTION.get(name, "move")

    def page(answer: str) -> str:
        return _page(tab, answer)

    try:
        app_context().daemon.ask(MACHINE_ACTIONS[name](request.form))
    except NoPlace as error:
        return message_response(str(error), 422, page)
    except Refused as refusal:
        return message_response(as_sentence(str(refusal)), status_of(refusal), page)
    except DaemonAbsent as error:
        return message_response(f"{as_sentence(str(error))} {STOP_ELSEWHERE}", 503, page)
    is_from_watch = request.form.get("back") == "watch"
    return done_response("watch.show" if is_from_watch else TABS[tab].endpoint)


for _name in MACHINE_ACTIONS:
    pages.add_url_rule(f"/{_name}", _name, act, methods=["POST"])


def _page(tab: str, answer: str = "") -> str:
    view = machine_view(app_context().daemon.ask(Status()), _answer(Settings()), _answer(Wiring()))
    return render_template(
        f"machine/{tab}.html",
        view=view,
        live=view["live"],
        answer=answer,
        tabs=TABS,
        tab=tab,
        steps_mm=STEPS_MM,
    )


def _answer(question: Call[Answer]) -> Answer | None:
    """Return the daemon's answer, None where it refuses: then there is nothing to show."""
    try:
        return app_context().daemon.ask(question)
    except Refused:
        return None
