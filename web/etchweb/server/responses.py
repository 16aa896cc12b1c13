"""What a page answers to what was asked of it: a sentence why not, or where to go on."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from flask import abort, current_app, jsonify, redirect, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.server.csrf_and_headers import wants_json
from etchweb.server.forms import FormUnfit
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused

STATUS_OF_REFUSAL: Final = {"refused": 409, "job": 422, "busy": 503, "internal": 502}

Body = str | BaseResponse


def with_status(page: Body, status: int) -> BaseResponse:
    """Return `page` with a status of its own."""
    answer = current_app.make_response(page)
    answer.status_code = status
    return answer


@contextmanager
def refusals_on(page: Callable[[str], Body]) -> Iterator[None]:
    """Answer with `page` and the sentence as soon as what is done inside is refused.

    By a form (422), by the daemon (see STATUS_OF_REFUSAL), or because no daemon answers (503).
    """
    try:
        yield
    except FormUnfit as unfit:
        abort(with_status(page(str(unfit)), 422))
    except Refused as refusal:
        abort(with_status(page(as_sentence(str(refusal))), status_of(refusal)))
    except DaemonAbsent as absent:
        abort(with_status(page(as_sentence(str(absent))), 503))


def message_response(sentence: str, status: int, page: Callable[[str], Body]) -> BaseResponse:
    """Return `page` with a sentence that says why nothing was done; for a script, the sentence."""
    return with_status(jsonify(sentence=sentence) if wants_json() else page(sentence), status)


def status_of(refusal: Refused) -> int:
    """Return the HTTP status that says whose doing a refusal is."""
    return STATUS_OF_REFUSAL.get(refusal.kind, 502)


def done_response(endpoint: str) -> BaseResponse:
    """Lead a person on to `endpoint`; tell a script that there is nothing to tell."""
    return jsonify(sentence="") if wants_json() else redirect(url_for(endpoint), 303)
