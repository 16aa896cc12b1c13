"""Pictures of jobs, as a phone asks for them."""

from pathlib import Path
from typing import Final

from flask import Blueprint, Flask, abort, redirect, render_template, send_from_directory, url_for
from werkzeug.wrappers import Response

from etchweb.context import app_context
from etchweb.previews.store import (
    NAME,
    path_name,
    share_picture,
    small_name,
    thumb_name,
    whole_name,
)
from etchweb.server.csrf_and_headers import CACHE_FOR_EVER
from etchwire.calls.machine import Status
from etchwire.errors import WireError

pages = Blueprint("pictures", __name__)

NO_PATH: Final = "There is no drawing of this head path. The command etchwarden check draws it."


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)


@pages.get("/head-path/<gcode_sha256>")
def head_path(gcode_sha256: str) -> str:
    """Show the way of the head through a job, where somebody has drawn it."""
    name = path_name(gcode_sha256)
    if not NAME.fullmatch(name) or not (app_context().pictures / name).exists():
        abort(404, NO_PATH)
    return render_template("previews/head_path.html", name=name)


@pages.get("/picture/<name>")
def show(name: str) -> Response:
    """Return a job's picture; its name says what is in it, so it may be kept for ever."""
    parts = NAME.fullmatch(name)
    if not parts:
        abort(404)
    folder = app_context().pictures
    if not (folder / whole_name(parts[1])).exists():
        _share_the_first(folder, parts[1])
    larger = {
        thumb_name(parts[1]): small_name(parts[1]),
        small_name(parts[1]): whole_name(parts[1]),
    }
    if name in larger and not (folder / name).exists():  # of an earlier release
        return redirect(url_for("pictures.show", name=larger[name]))
    answer = send_from_directory(folder.absolute(), name)
    answer.headers["Cache-Control"] = CACHE_FOR_EVER.replace("public", "private")
    return answer


def _share_the_first(folder: Path, gcode_sha256: str) -> None:
    """Where the job on the bench is the rest of another, let it have the picture of that one."""
    try:
        job = app_context().daemon.ask(Status()).job
    except WireError:
        return
    if job is not None and job.sha256 == gcode_sha256:
        share_picture(folder, gcode_sha256, whole_sha256=job.picture_sha256)
