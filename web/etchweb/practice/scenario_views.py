"""Faults that are played by themselves on a practice machine: the list, and what comes of one."""

from itertools import groupby
from typing import Any, Final

from flask import (
    Blueprint,
    Flask,
    current_app,
    jsonify,
    render_template,
    request,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.practice.scenario_runner import NoSuchScene, StageTaken, Theatre
from etchweb.server.responses import answer_with, done

pages = Blueprint("plays", __name__, url_prefix="/plays")

PLAYING: Final = "It is being played."
NO_ROOM: Final = "This computer has no room for another practice machine now."


def open_theatre(app: Flask, theatre: Theatre) -> None:
    """Give the page of a practice machine its list of faults that are played."""
    app.extensions["etchweb scenarios"] = theatre
    app.jinja_env.globals["has_theatre"] = True
    app.register_blueprint(pages)


@pages.get("")
def show() -> str:
    """Show what can be played, and what came of the last one."""
    return _page("")


@pages.get("/now.json")
def poll() -> BaseResponse:
    """Answer what has been told so far."""
    return jsonify(_now())


@pages.post("/begin")
def begin() -> BaseResponse:
    """Begin to play one."""
    try:
        _theatre().begin(request.form.get("name", ""))
    except NoSuchScene as error:
        return answer_with(str(error), 404, _page)
    except StageTaken as error:
        return answer_with(str(error), 409, _page)
    except OSError:
        return answer_with(NO_ROOM, 503, _page)
    return done("plays.show")


@pages.post("/end")
def end() -> BaseResponse:
    """End what is being played."""
    _theatre().end()
    return done("plays.show")


def _theatre() -> Theatre:
    theatre: Theatre = current_app.extensions["etchweb scenarios"]
    return theatre


def _now() -> dict[str, Any]:
    performance = _theatre().performance
    if performance is None:
        return {"about": "", "told": [], "is_over": True, "outcome": ""}
    outcome = performance.outcome
    return {
        "about": performance.scene.about,
        "told": [{"at": one.at, "sentence": one.sentence} for one in list(performance.told)],
        "is_over": outcome is not None,
        "outcome": PLAYING if outcome is None else outcome.value,
    }


def _page(answer: str) -> str:
    groups = groupby(_theatre().scenes, key=lambda scene: scene.group)
    return render_template(
        "practice/scenarios.html",
        now=_now(),
        groups=[(title, list(scenes)) for title, scenes in groups],
        answer=answer,
    )
