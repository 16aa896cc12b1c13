"""The page *Machine*: how it is connected, where its head is, what its wires do."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

from flask import (
    Blueprint,
    jsonify,
    render_template,
    request,
)
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import app_context
from etchweb.machine.presenter import away_view, live_view, machine_view
from etchweb.run.views import STOP_ELSEWHERE
from etchweb.server.responses import done_response, message_response, status_of
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.plain import FURTHEST_MM

pages = Blueprint("machine", __name__, url_prefix="/machine")

Form = MultiDict[str, str]

NO_PLACE: Final = "Say where in millimetres: how far to the right, and how far up."


class NoPlace(ValueError):
    """A form did not say where."""


@dataclass(frozen=True, slots=True)
class MachineAction:
    """What a button asks of the daemon, and what it says with it."""

    method: str
    says: Callable[[Form], dict[str, Any]] = lambda _form: {}


def _place(form: Form) -> dict[str, Any]:
    return {"x_mm": _length_mm(form.get("x", "")), "y_mm": _length_mm(form.get("y", ""))}


def _length_mm(text: str) -> float:
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise NoPlace(NO_PLACE) from None
    if not isfinite(value) or abs(value) > FURTHEST_MM:
        raise NoPlace(NO_PLACE)
    return value


# Address on the page (and endpoint), and what is asked.
MACHINE_ACTIONS: Final[Mapping[str, MachineAction]] = {
    "move": MachineAction("move_to", _place),
    "trace": MachineAction("trace_outline", lambda form: {"with_run_ups": "run-ups" in form}),
    "set-origin": MachineAction("set_origin"),
    "find-origin": MachineAction("find_origin"),
    "home": MachineAction("home"),
    "unlock": MachineAction("unlock"),
    "measure": MachineAction("measure"),
    "stop": MachineAction("stop"),
    "try": MachineAction(
        "try_output", lambda form: {"name": form.get("output", ""), "on": form.get("on") != "no"}
    ),
}


@pages.get("")
def show() -> str:
    """Show the machine."""
    return _page("")


@pages.get("/now.json")
def poll() -> BaseResponse:
    """Answer what changes; the wires only where somebody looks at them."""
    try:
        wiring = _asked("wiring") if "wiring" in request.args else {}
        return jsonify(live_view(app_context().daemon.ask("status"), wiring))
    except DaemonAbsent as error:
        return jsonify(away_view(str(error)))


def act() -> BaseResponse:
    """Ask the daemon for what the address names, and show what came of it."""
    action = MACHINE_ACTIONS[(request.endpoint or "").removeprefix("machine.")]
    try:
        app_context().daemon.ask(action.method, **action.says(request.form))
    except NoPlace as error:
        return message_response(str(error), 422, _page)
    except Refused as refusal:
        return message_response(as_sentence(str(refusal)), status_of(refusal), _page)
    except DaemonAbsent as error:
        return message_response(f"{as_sentence(str(error))} {STOP_ELSEWHERE}", 503, _page)
    return done_response("machine.show")


for _name in MACHINE_ACTIONS:
    pages.add_url_rule(f"/{_name}", _name, act, methods=["POST"])


def _page(answer: str) -> str:
    view = machine_view(app_context().daemon.ask("status"), _asked("settings"), _asked("wiring"))
    return render_template("machine/machine.html", view=view, live=view["live"], answer=answer)


def _asked(question: str) -> Mapping[str, Any]:
    """Return the daemon's answer; one that knows no such question has nothing to show."""
    try:
        answer: Mapping[str, Any] = app_context().daemon.ask(question)
    except Refused:
        return {}
    return answer
