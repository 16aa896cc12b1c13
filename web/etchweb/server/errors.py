"""What is said when a request comes to nothing: a page for a person, JSON for a script."""

import logging
from typing import Final

from flask import Flask, json, render_template, request
from werkzeug.exceptions import HTTPException, SecurityError, ServiceUnavailable
from werkzeug.wrappers import Response

from etchweb.server.csrf_and_headers import wants_json
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.storing import fault_of_card

SENTENCES: Final = {
    400: "The request could not be understood.",
    404: "There is no such page here.",
    405: "That cannot be opened as a page. Go back and press the button instead.",
    413: "That is more than this page accepts.",
    415: "This page does not accept that kind of file.",
    500: "The page has a fault. It is in its log; the machine goes on without the page.",
}
_log = logging.getLogger(__name__)

UNKNOWN_NAME: Final = "The box does not go by this name. Use the address that `etchwarden` prints."


class NotKept(HTTPException):
    """The card did not take what was sent; what was there before is still there."""

    code = 507
    description = "The box could not store that."


def show_errors(app: Flask) -> None:
    """Let `app` say its own sentences."""
    app.register_error_handler(OSError, _show_fault_of_card)
    app.register_error_handler(DaemonAbsent, _show_no_answer)
    app.register_error_handler(Refused, _show_no_answer)
    app.register_error_handler(HTTPException, _show)


def _show(error: HTTPException) -> Response:
    answer = Response.force_type(error.get_response())
    if error.response is not None:
        return answer
    sentence = _sentence(error)
    if isinstance(error, SecurityError):  # no address of a page of ours can be formed now
        answer.set_data(sentence)
        answer.content_type = "text/plain; charset=utf-8"
    elif wants_json():
        answer.set_data(json.dumps({"sentence": sentence}))
        answer.content_type = "application/json"
    else:
        answer.set_data(render_template("server/error.html", sentence=sentence))
    return answer


def _show_no_answer(error: Exception) -> Response:
    """Say why the daemon gave nothing to show; what has a page to say it on says it there."""
    return _show(ServiceUnavailable(as_sentence(str(error))))


def _show_fault_of_card(error: OSError) -> Response:
    told = fault_of_card(error)
    if told is None:
        raise error
    _log.warning("%s: %s", request.path, error)
    return _show(NotKept(f"That was not saved: {told}."))


def _sentence(error: HTTPException) -> str:
    if isinstance(error, SecurityError):
        return UNKNOWN_NAME
    is_ours = error.description != type(error).description
    if is_ours and error.description:
        return error.description
    return SENTENCES.get(error.code or 500, error.description or error.name)
