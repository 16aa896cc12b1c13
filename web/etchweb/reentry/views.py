"""The page *Continue this etch*: what is left of an etch that was cut short, put on the bench."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from flask import Blueprint, Flask, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import LARGEST_NUMBER, answered, app_context
from etchweb.daemon.late_end import late_end
from etchweb.reentry.presenter import reentry_view, row_from_text
from etchweb.server.csrf_and_headers import wants_json
from etchweb.server.responses import message_response, status_of
from etchweb.text.formatting import as_sentence
from etchwire.calls.machine import NOT_MOVED, ORIGIN_AGAIN, Reenter, Status, Unfinished
from etchwire.errors import DaemonAbsent, Refused

pages = Blueprint("taking_up", __name__)

BY_EYE: Final = "eye"
OF_TWO: Final = "two"  # that the record names
NO_ROW: Final = "Say which row is the first that is not dark, as a whole number from 1 on."
NOT_CONFIRMED: Final = "Say first whether everything is where it was."
_ADDRESS: Final = f"/logbook/<int(max={LARGEST_NUMBER}):number>/take-up-again"


@dataclass(frozen=True, slots=True)
class ReentryAnswers:
    """What a person says of the tile; `row` counts from 0; None where the record will do."""

    row: int | None = None
    is_by_eye: bool = False
    is_of_two: bool = False
    confirm: str = ""
    accepts_gap: bool = False

    @property
    def objection(self) -> str:
        """Why nothing can be put on the bench by that, or nothing."""
        if (self.is_by_eye or self.is_of_two) and self.row is None:
            return NO_ROW
        return "" if self.confirm in (NOT_MOVED, ORIGIN_AGAIN) else NOT_CONFIRMED

    def address(self, number: int) -> str:
        """Return where the page shows it."""
        if not self.is_by_eye or self.row is None:
            return url_for("taking_up.show", number=number)
        return url_for("taking_up.show", number=number, by=BY_EYE, row=self.row + 1)


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)


@pages.get(_ADDRESS)
def show(number: int) -> str:
    """Show what is known of the cut, and what is left from the row that is asked for."""
    return _page(number, _answers_in(request.args))


@pages.post(_ADDRESS)
def take_up(number: int) -> BaseResponse:
    """Put the rest on the bench, or only show another row."""
    answers = _answers_in(request.form)
    if request.form.get("do") == "show":
        return redirect(answers.address(number), 303)
    if answers.objection:
        return _answer(number, answers, answers.objection, 422)
    try:
        app_context().daemon.ask(
            Reenter(
                run=number,
                confirm=answers.confirm,
                row=answers.row,
                accept_gap=answers.accepts_gap,
            )
        )
    except Refused as refusal:
        return _answer(number, answers, str(refusal), status_of(refusal))
    except DaemonAbsent as error:
        return _answer(number, answers, str(error), 503)
    bench = url_for("watch.show")
    return jsonify(sentence="", next=bench) if wants_json() else redirect(bench, 303)


def _answers_in(form: Mapping[str, str]) -> ReentryAnswers:
    is_by_eye = form.get("by") == BY_EYE
    is_of_two = form.get("by") == OF_TWO
    row = row_from_text(form.get("row", "")) if is_by_eye or is_of_two else None
    return ReentryAnswers(row, is_by_eye, is_of_two, form.get("confirm", ""), "accept_gap" in form)


def _page(number: int, answers: ReentryAnswers, answer: str = "") -> str:
    outlook = answered(Unfinished(run=number, row=answers.row))
    view = reentry_view(outlook, row=answers.row, is_by_eye=answers.is_by_eye)
    return render_template(
        "reentry/reentry.html",
        view=view,
        answer=answer,
        confirmed=answers.confirm,
        late=late_end(app_context().daemon, outlook.rest.predicted_s if outlook.rest else None),
        asked_at_machine=_asked_at_machine(),
    )


def _asked_at_machine() -> str:
    """Return what the box asks somebody to do at the machine, such as to set its safety relay."""
    try:
        return as_sentence(app_context().daemon.ask(Status()).interlocks.request or "")
    except (DaemonAbsent, Refused):
        return ""


def _answer(number: int, answers: ReentryAnswers, sentence: str, status: int) -> BaseResponse:
    return message_response(as_sentence(sentence), status, lambda why: _page(number, answers, why))
