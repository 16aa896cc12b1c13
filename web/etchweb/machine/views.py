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

from etchweb.context import house
from etchweb.machine.presenter import away_view, live_view, machine_view
from etchweb.run.views import STOP_ELSEWHERE
from etchweb.server.responses import answer_with, done, status_of
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.plain import FURTHEST_MM

pages = Blueprint("machine", __name__, url_prefix="/machine")

Form = MultiDict[str, str]

NO_PLACE: Final = "Say where in millimetres: how far to the right, and how far up."


class NoPlace(ValueError):
    """A form did not say where."""


@dataclass(frozen=True, slots=True)
class Deed:
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
DEEDS: Final[Mapping[str, Deed]] = {
    "move": Deed("move_to", _place),
    "trace": Deed("trace_outline", lambda form: {"with_run_ups": "run-ups" in form}),
    "set-origin": Deed("set_origin"),
    "find-origin": Deed("find_origin"),
    "home": Deed("home"),
    "unlock": Deed("unlock"),
    "measure": Deed("measure"),
    "stop": Deed("stop"),
    "try": Deed(
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
        return jsonify(live_view(house().daemon.ask("status"), wiring))
    except DaemonAbsent as error:
        return jsonify(away_view(str(error)))


def act() -> BaseResponse:
    """Ask the daemon for what the address names, and show what came of it."""
    deed = DEEDS[(request.endpoint or "").removeprefix("machine.")]
    try:
        house().daemon.ask(deed.method, **deed.says(request.form))
    except NoPlace as error:
        return answer_with(str(error), 422, _page)
    except Refused as refusal:
        return answer_with(as_sentence(str(refusal)), status_of(refusal), _page)
    except DaemonAbsent as error:
        return answer_with(f"{as_sentence(str(error))} {STOP_ELSEWHERE}", 503, _page)
    return done("machine.show")


for _name in DEEDS:
    pages.add_url_rule(f"/{_name}", _name, act, methods=["POST"])


def _page(answer: str) -> str:
    view = machine_view(house().daemon.ask("status"), _asked("settings"), _asked("wiring"))
    return render_template("machine/machine.html", view=view, live=view["live"], answer=answer)


def _asked(question: str) -> Mapping[str, Any]:
    """Return the daemon's answer; one that knows no such question has nothing to show."""
    try:
        answer: Mapping[str, Any] = house().daemon.ask(question)
    except Refused:
        return {}
    return answer
