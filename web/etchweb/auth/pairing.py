"""Pairing a phone: a code that somebody at the box has asked for, typed once."""

import math
import threading
import time
from typing import Final

from flask import (
    Blueprint,
    Flask,
    current_app,
    make_response,
    redirect,
    render_template,
    request,
    url_for,
)
from werkzeug.wrappers import Response

from etchweb.auth.access import set_cookie
from etchweb.auth.codes import CODE_LASTS_S, new_token, typed_code
from etchweb.server.admission import network_of
from etchweb.server.rate import Allowance, Buckets

pages = Blueprint("pairing", __name__)

# A code lasts ten minutes: one address has 35 tries at it, all together 780 of a million.
FOR_ONE_ADDRESS: Final = Allowance(tries=5, one_more_after_s=20.0)
FIRST_OF_ONE_ADDRESS: Final = Allowance(tries=1, one_more_after_s=CODE_LASTS_S)
FOR_FIRST_TRIES: Final = Allowance(tries=300, one_more_after_s=2.0)  # a small network has 253
FOR_FURTHER_TRIES: Final = Allowance(tries=30, one_more_after_s=4.0)
EVERYBODY: Final = "everybody"
LONGEST_NAME: Final = 40

WRONG_CODE: Final = (
    "That is not the code, or it is used up. "
    "A code lets one phone in, within ten minutes; then ask the box for another."
)

# What a browser says it runs on, and what people call that; the first that fits.
DEVICES: Final = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android phone"),
    ("Windows", "Windows computer"),
    ("Macintosh", "Mac"),
    ("Linux", "Linux computer"),
)


class PairingAttempts:
    """How often codes may be tried, by one address and by all together; any thread may ask.

    Wrong codes cost no code anything. An address's first try has a rate of its own: strangers
    who guess from many addresses do not keep out who comes with a code from the box.
    """

    def __init__(self) -> None:
        self._one, self._first = Buckets(FOR_ONE_ADDRESS), Buckets(FIRST_OF_ONE_ADDRESS)
        self._first_tries, self._further = Buckets(FOR_FIRST_TRIES), Buckets(FOR_FURTHER_TRIES)
        self._lock = threading.Lock()

    def wait_s(self, address: str, now_s: float) -> float:
        """Count a try and return 0, or return how long to wait before the next."""
        network = network_of(address)
        with self._lock:
            is_first = self._first.would_wait_s(network, now_s) == 0
            everybody = self._first_tries if is_first else self._further
            wait_s = self._one.would_wait_s(network, now_s) or everybody.wait_s(EVERYBODY, now_s)
            if wait_s == 0:
                self._first.wait_s(network, now_s)
                self._one.wait_s(network, now_s)
            return wait_s


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)


@pages.get("/pair")
def show() -> str:
    """Ask for the code."""
    return render_template("auth/pair.html", sentence="")


@pages.post("/pair")
def pair() -> Response:
    """Let the phone in that knows the code."""
    context = current_app.extensions["etchweb"]
    wait_s = context.tries.wait_s(request.remote_addr or "", time.monotonic())
    if wait_s > 0:
        return _wait(wait_s)
    store = context.access.store
    invitation = store.use_code(typed_code(request.form.get("code", "")), time.time())
    if invitation is None:
        return make_response(render_template("auth/pair.html", sentence=WRONG_CODE), 422)
    token = new_token()
    store.add_phone(token, _name(), invitation.role, time.time(), by=invitation.by)
    answer = redirect(url_for("watch.show"), 303)
    set_cookie(answer, token)
    return answer


def _wait(wait_s: float) -> Response:
    seconds = math.ceil(wait_s)
    sentence = f"Too many tries. Wait {seconds} s, then type the code again."
    answer = make_response(render_template("auth/pair.html", sentence=sentence), 429)
    answer.headers["Retry-After"] = str(seconds)
    return answer


def _name() -> str:
    typed = "".join(
        character for character in request.form.get("name", "") if character.isprintable()
    ).strip()
    return typed[:LONGEST_NAME] or _device()


def _device() -> str:
    agent = request.headers.get("User-Agent", "")
    return next((name for mark, name in DEVICES if mark in agent), "A browser")
