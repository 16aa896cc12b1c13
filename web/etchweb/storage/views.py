"""*Storage*: what is kept, for how long, and how much room there is."""

from collections.abc import Mapping

from flask import Blueprint, Flask, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import app_context
from etchweb.server.responses import refusals_on
from etchweb.storage.kept_for import CHOICES, KEPT_KINDS, choose, chosen_words
from etchwire.calls.machine import Status
from etchwire.calls.snapshot import StorageView
from etchwire.errors import DaemonAbsent, Refused
from etchwire.retention import DRAFTS, JOBS

pages = Blueprint("storage", __name__)


@pages.get("/storage")
def show() -> str:
    """Show the retention table."""
    return _page("", {})


@pages.post("/storage")
def save() -> BaseResponse:
    """Keep how long each kind is kept from now on."""
    with refusals_on(lambda why: _page(why, request.form)):
        choose(app_context().pictures.parent, request.form)
    return redirect(url_for("storage.show"), 303)


def _page(answer: str, typed: Mapping[str, str]) -> str:
    return render_template(
        "storage/storage.html",
        kinds=KEPT_KINDS,
        chosen=chosen_words(app_context().pictures.parent) | dict(typed),
        choices=CHOICES,
        drafts=DRAFTS,
        jobs=JOBS,
        storage=_storage(),
        answer=answer,
    )


def _storage() -> StorageView | None:
    """Return what the daemon says of room and backups; None while it cannot be asked."""
    try:
        return app_context().daemon.ask(Status()).storage
    except (DaemonAbsent, Refused):
        return None


def register(app: Flask) -> None:
    """Give `app` this page, and every template how long a kind is kept."""
    app.register_blueprint(pages)
    app.jinja_env.globals["kept_for"] = lambda kind: chosen_words(app_context().pictures.parent)[
        kind
    ]
