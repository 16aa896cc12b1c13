"""The paired phones: who may come in, and removing one."""

from flask import Blueprint, abort, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from etchweb.auth.access import clear_cookie
from etchweb.context import app_context

pages = Blueprint("phones", __name__)


@pages.get("/phones")
def show() -> str:
    """List the paired phones."""
    return _page()


@pages.post("/phones/<int(max=9007199254740991):number>/forget")
def forget(number: int) -> Response | str:
    """Ask once, then remove a phone; a stream it has open ends within seconds."""
    if request.form.get("sure") != "yes":
        return _page(asked=number)
    if not app_context().access.store.forget_phone(number):
        abort(404, "That phone is not paired any more.")
    return redirect(url_for("phones.show"), 303)


@pages.post("/leave")
def leave() -> Response | str:
    """Ask once, then sign this phone out."""
    if request.form.get("sure") != "yes":
        return _page(is_leaving=True)
    if g.visitor.phone is not None:
        app_context().access.store.forget_phone(g.visitor.phone.id)
    answer = redirect(url_for("pairing.show"), 303)
    clear_cookie(answer)
    return answer


def _page(*, asked: int | None = None, is_leaving: bool = False) -> str:
    """Return the list; `asked`: the number of the phone that is to be removed."""
    return render_template(
        "machine/phones.html",
        phones=app_context().access.store.phones(),
        mine=g.visitor.phone,
        asked=asked,
        is_leaving=is_leaving,
    )
