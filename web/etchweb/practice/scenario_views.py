"""Faults that are played by themselves on a practice machine: the list, and what comes of one."""

from itertools import groupby
from typing import Final

from flask import (
    Blueprint,
    Flask,
    current_app,
    jsonify,
    render_template,
    request,
)
from werkzeug.wrappers import Response as BaseResponse

from etchweb.practice.scenario_runner import (
    Scenario,
    ScenarioRunner,
    ScenarioUnderWay,
    UnknownScenario,
)
from etchweb.server.responses import done_response, message_response
from etchweb.text.view import View

pages = Blueprint("plays", __name__, url_prefix="/plays")

# What a person should have seen once, in this order.
DRILLS: Final = {
    "nothing_goes_wrong": "An etch in which nothing goes wrong",
    "lid_opened_and_taken_up_again": "Somebody opens the lid",
    "stop_button": "Somebody presses the stop button at the machine",
    "fan_stops_after_30_s": "The extraction fan stops",
    "flame": "Fire in the box",
    "serial_unplugged_in_motion": "The cable comes out",
    "round_that_nobody_answers": "Nobody answers a watch round",
    "daemon_dies_in_mid_etch": "The box's control program dies",
}
PLAYING: Final = "It is running."
NO_ROOM: Final = "This computer has no room for another practice machine now."


def add_scenarios(app: Flask, runner: ScenarioRunner) -> None:
    """Give the page of a practice machine its list of faults that are played."""
    app.extensions["etchweb scenarios"] = runner
    app.jinja_env.globals["has_scenarios"] = True
    app.register_blueprint(pages)


@pages.get("")
def show() -> str:
    """Show what can be played, and what came of the last one; `find` seeks among all there are."""
    return _page("")


@pages.get("/now.json")
def poll() -> BaseResponse:
    """Answer what has been told so far."""
    return jsonify(_now())


@pages.post("/begin")
def begin() -> BaseResponse:
    """Begin to play one."""
    try:
        _runner().begin(request.form.get("name", ""))
    except UnknownScenario as error:
        return message_response(str(error), 404, _page)
    except ScenarioUnderWay as error:
        return message_response(str(error), 409, _page)
    except OSError:
        return message_response(NO_ROOM, 503, _page)
    return done_response("plays.show")


@pages.post("/end")
def end() -> BaseResponse:
    """End what is being played."""
    _runner().end()
    return done_response("plays.show")


def _runner() -> ScenarioRunner:
    runner: ScenarioRunner = current_app.extensions["etchweb scenarios"]
    return runner


def _now() -> View:
    run = _runner().run
    if run is None:
        return {"about": "", "told": [], "is_over": True, "outcome": ""}
    outcome = run.outcome
    return {
        "about": run.scenario.about,
        "told": [{"at": one.at, "sentence": one.sentence} for one in list(run.lines)],
        "is_over": outcome is not None,
        "outcome": PLAYING if outcome is None else outcome.value,
    }


def _page(answer: str) -> str:
    find = request.args.get("find")
    known = {one.name: one for one in _runner().scenarios}
    found = [one for one in _runner().scenarios if _is_found(one, find or "")]
    groups = groupby(found, key=lambda scenario: scenario.group)
    return render_template(
        "practice/scenarios.html",
        now=_now(),
        drills=[(words, known[name]) for name, words in DRILLS.items() if name in known],
        find=find,
        groups=[(title, list(scenarios)) for title, scenarios in groups],
        answer=answer,
    )


def _is_found(scenario: Scenario, find: str) -> bool:
    return all(word in scenario.about.lower() for word in find.lower().split())
