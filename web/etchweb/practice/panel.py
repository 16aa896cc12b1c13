"""The practice panel: what a hand would do at a real machine, done at the simulated one."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from flask import (
    Blueprint,
    Flask,
    abort,
    jsonify,
    redirect,
    render_template,
    request,
    send_file,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import Machine, app_context
from etchweb.server.csrf_and_headers import wants_json
from etchweb.server.responses import message_response
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.transport.line_client import LineClient

pages = Blueprint("practice", __name__)


@dataclass(frozen=True, slots=True)
class PanelAction:
    """One thing to do, in a person's words and the practice machine's."""

    label: str
    done: str
    verb: str
    says: Mapping[str, object] = field(default_factory=dict)


PANEL_ACTIONS: Final = {
    "press-button": PanelAction(
        "Press the button at the machine", "The button was pressed.", "press_button"
    ),
    "open-lid": PanelAction("Open the lid", "The lid is open.", "open_lid"),
    "close-lid": PanelAction("Close the lid", "The lid is closed.", "close_lid"),
    "stop-fan": PanelAction("Stop the fan", "The fan has stopped.", "kill_fan"),
    "mend-fan": PanelAction("Mend the fan", "The fan works again.", "mend_fan"),
    "light-fire": PanelAction(
        "Light a fire", "It is on fire.", "set_input", {"name": "flame", "level": False}
    ),
    "put-fire-out": PanelAction(
        "Put the fire out", "The fire is out.", "set_input", {"name": "flame", "level": True}
    ),
    "unplug": PanelAction("Pull the cable out", "The cable is out.", "unplug"),
    "plug-in": PanelAction("Plug the cable in", "The cable is in.", "plug_in"),
    "lay-tile": PanelAction(
        "Take the tile out, put in a new one", "A new tile is in.", "lay_new_tile"
    ),
    "lay-on-wedge": PanelAction(  # for a focus card as its form has it: 0 and 18 mm up over 150
        "Lay a new tile on a wedge, 18 mm up at its right end",
        "A new tile lies on a wedge, and the laser stands higher to match.",
        "lay_on_wedge",
    ),
}

TILE_NAME: Final = "practice-tile.png"


def machine_at(folder: Path) -> Machine:
    """Return what asks the practice machine in `folder` for a verb."""

    def ask(verb: str, **says: Any) -> Any:
        with LineClient(folder / "control.sock", peer="the practice machine") as machine:
            return machine.call(verb, **says)

    return ask


def is_at_hand() -> bool:
    """Return whether there is a practice machine, and the daemon is not known to have another."""
    snapshot = app_context().listener.report.snapshot
    is_practice = snapshot is None or snapshot.machine.is_practice
    return app_context().machine is not None and is_practice


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)


@pages.get("/practice")
def show() -> str:
    """Show what can be done to the practice machine, and what was done last."""
    did = PANEL_ACTIONS.get(request.args.get("did", ""))
    return _page(did.done if did else "")


@pages.get("/practice/tile.png")
def photograph() -> BaseResponse:
    """Return what a camera above the wiped tile would see."""
    photo = app_context().pictures.parent / TILE_NAME
    _machine()("picture", after=str(photo.absolute()))
    return send_file(photo.absolute(), as_attachment=True, download_name=TILE_NAME)


@pages.post("/practice/<name>")
def act(name: str) -> BaseResponse:
    """Do it, and show what came of it."""
    action = PANEL_ACTIONS.get(name)
    if action is None:
        return message_response("There is nothing of that name.", 404, _page)
    try:
        _machine()(action.verb, **action.says)
    except (DaemonAbsent, Refused) as error:
        return message_response(as_sentence(str(error)), 503, _page)
    if wants_json():
        return jsonify(sentence=action.done)
    return redirect(url_for("practice.show", did=name), 303)


def _machine() -> Machine:
    machine = app_context().machine
    return machine if machine is not None else abort(404)


def _page(answer: str) -> str:
    return render_template("practice/panel.html", actions=PANEL_ACTIONS, answer=answer)
