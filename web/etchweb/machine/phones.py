"""The paired phones: who may come in, letting another in, and removing one."""

import time
from typing import Final

from flask import Blueprint, abort, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from etchweb.auth.access import clear_cookie
from etchweb.auth.codes import CODE_LASTS_S, new_code
from etchweb.auth.roles import Role
from etchweb.auth.square import square_svg
from etchweb.context import app_context
from etchweb.server.host_names import is_loopback
from etchweb.text.view import View

pages = Blueprint("phones", __name__)

NO_ROLE: Final = "Choose what the other phone may do."


@pages.get("/phones")
def show() -> str:
    """List the paired phones."""
    return _page()


@pages.post("/phones/add")
def add() -> str:
    """Open a code for one more phone, and show it with the square that its camera reads."""
    try:
        role = Role(request.form.get("role", ""))
    except ValueError:
        abort(422, NO_ROLE)
    code = new_code()
    mine = None if g.visitor.phone is None else g.visitor.phone.id
    app_context().access.store.add_code(code, role, time.time(), by=mine)
    address = url_for("pairing.show", _external=True)
    return _page(
        invitation={
            "square": square_svg(address),
            "address": address,
            "code": f"{code[:3]} {code[3:]}",
            "role": role,
            "lasts_min": round(CODE_LASTS_S / 60),
            "is_loopback": is_loopback(request.host.rpartition(":")[0] or request.host),
        }
    )


@pages.post("/phones/<int(max=9007199254740991):number>/forget")
def forget(number: int) -> Response | str:
    """Ask once, then remove a phone, and those it let in where that was ticked.

    A stream it has open ends within seconds.
    """
    if request.form.get("sure") != "yes":
        return _page(asked=number)
    store = app_context().access.store
    others = store.let_in_by(number) if request.form.get("and") == "let in" else ()
    if not store.forget_phone(number):
        abort(404, "That phone is not paired any more.")
    for other in others:
        store.forget_phone(other.id)
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


def _page(
    *, asked: int | None = None, is_leaving: bool = False, invitation: View | None = None
) -> str:
    """Return the list; `asked`: the number of the phone that is to be removed."""
    store = app_context().access.store
    phones = store.phones()
    return render_template(
        "machine/phones.html",
        phones=phones,
        names={phone.id: phone.name for phone in phones},
        let_in=() if asked is None else store.let_in_by(asked),
        mine=g.visitor.phone,
        asked=asked,
        is_leaving=is_leaving,
        invitation=invitation,
    )
