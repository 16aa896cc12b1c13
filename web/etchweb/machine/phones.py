"""The paired phones: who may come in, and shutting one out."""

from flask import Blueprint, abort, g, redirect, render_template, url_for
from werkzeug.wrappers import Response

from etchweb.auth.access import clear_cookie
from etchweb.context import app_context

pages = Blueprint("phones", __name__)


@pages.get("/phones")
def show() -> str:
    """List the paired phones."""
    return render_template(
        "machine/phones.html", phones=app_context().access.store.phones(), mine=g.visitor.phone
    )


@pages.post("/phones/<int(max=9007199254740991):number>/forget")
def forget(number: int) -> Response:
    """Shut a phone out; a stream it has open ends within seconds."""
    if not app_context().access.store.forget_phone(number):
        abort(404, "That phone is not paired any more.")
    return redirect(url_for("phones.show"), 303)


@pages.post("/leave")
def leave() -> Response:
    """Shut this phone out."""
    if g.visitor.phone is not None:
        app_context().access.store.forget_phone(g.visitor.phone.id)
    answer = redirect(url_for("pairing.show"), 303)
    clear_cookie(answer)
    return answer
