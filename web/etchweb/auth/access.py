"""Who is asking, and whether they may: looked at before every request."""

import ipaddress
import time
from dataclasses import dataclass
from typing import Final

from flask import Flask, Response, abort, current_app, g, make_response, render_template, request
from flask import json as flask_json
from werkzeug.wrappers import Response as BaseResponse

from etchweb.auth.codes import TOKEN_LASTS_S, NewToken, form_token, is_same, token_digest
from etchweb.auth.roles import Role, may
from etchweb.auth.store import Phone, Store
from etchweb.server.admission import KnownAddresses
from etchweb.server.csrf_and_headers import SAFE_METHODS, wants_json

NOBODY: Final = "nobody"
NOWHERE: Final = "nowhere"  # an address that leads to nothing, which strangers need not learn
LOOPBACK: Final = "loopback"

NOT_PAIRED: Final = "This phone is not paired with the box."
ONLY_WATCH: Final = "This phone may watch, hold and stop. That takes a phone that may operate."
OLD_FORM: Final = "This page is out of date. Open it again and press once more."


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who sent a request; `holder` ties the forms of their pages to them."""

    role: Role | None
    holder: str
    phone: Phone | None = None

    @property
    def name(self) -> str:
        """What the phone is called; nothing for the box's own browser."""
        return "" if self.phone is None else self.phone.name

    def may(self, endpoint: str) -> bool:
        """Return whether they may reach `endpoint`."""
        return may(self.role, endpoint)


class Access:
    """Tells visitors from their cookie, and notes in `known` where paired phones ask from.

    With `is_open_to_loopback`, whoever asks from this machine operates without being paired:
    for practice only, and only where the page is served on a loopback address, since behind a
    proxy every phone would seem to be this machine.
    """

    def __init__(self, store: Store, known: KnownAddresses, *, is_open_to_loopback: bool) -> None:
        self.store = store
        self._known = known
        self._is_open_to_loopback = is_open_to_loopback

    def visitor(self) -> Visitor:
        """Return who sent the request in hand."""
        token = request.cookies.get(cookie_name(), "")
        if token:
            digest = token_digest(token)
            phone = self.store.phone_of(digest, time.time())
            if phone is not None:
                self._known.note(request.remote_addr or "")
                return Visitor(phone.role, digest, phone)
        if self._is_open_to_loopback and _comes_from_here():
            self._known.note(request.remote_addr or "")
            return Visitor(Role.OPERATE, LOOPBACK)
        return Visitor(None, NOBODY)

    def is_still_in(self, visitor: Visitor) -> bool:
        """Return whether a visitor let in earlier would be let in now."""
        if visitor.phone is None:
            return visitor.role is not None
        return self.store.phone_of(visitor.holder, time.time()) is not None

    def form_token(self) -> str:
        """Return what the forms of the page in hand carry."""
        return form_token(self.store.secret, g.visitor.holder)


def admit(app: Flask) -> None:
    """Have every request to `app` looked at."""
    app.before_request(_admit)
    app.jinja_env.globals["form_token"] = lambda: _access().form_token()
    app.jinja_env.globals["may"] = _may_reach


def _admit() -> BaseResponse | None:
    g.visitor = _access().visitor()
    if not g.visitor.may(request.endpoint or NOWHERE):
        if g.visitor.role is None:
            return _unpaired()
        if request.endpoint is not None:
            abort(403, ONLY_WATCH)
    return None


def check_forms(app: Flask) -> None:
    """Have every form that is sent to `app` looked at; register it behind `admit`."""
    app.before_request(_check_form)


def _check_form() -> None:
    if request.method not in SAFE_METHODS:
        sent = request.form.get("form_token", "")
        if not is_same(sent, _access().form_token()):
            abort(403, OLD_FORM)


def _may_reach(endpoint: str) -> bool:
    visitor = g.get("visitor")  # a request refused at the door has none
    return visitor is not None and visitor.may(endpoint)


def set_cookie(answer: BaseResponse, token: NewToken) -> None:
    """Give the phone its token to keep; scripts never see it."""
    answer.set_cookie(
        cookie_name(),
        token.token,
        max_age=int(TOKEN_LASTS_S),
        httponly=True,
        samesite="Lax",  # Strict would turn away a phone that arrives by a link
        secure=request.is_secure,
    )


def clear_cookie(answer: BaseResponse) -> None:
    """Take the phone's token from it."""
    answer.delete_cookie(cookie_name(), httponly=True, samesite="Lax", secure=request.is_secure)


def cookie_name() -> str:
    """Return the cookie's name; browsers take the prefix over TLS only."""
    return "__Host-etchwarden" if request.is_secure else "etchwarden"


def _unpaired() -> Response:
    if wants_json():
        answer = make_response(flask_json.dumps({"sentence": NOT_PAIRED}), 403)
        answer.content_type = "application/json"
        return answer
    return make_response(render_template("auth/pair.html", sentence=""), 403)


def _access() -> Access:
    access: Access = current_app.extensions["etchweb"].access
    return access


def _comes_from_here() -> bool:
    try:
        return ipaddress.ip_address(request.remote_addr or "").is_loopback
    except ValueError:
        return False
