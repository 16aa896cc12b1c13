"""Pictures of jobs: two files for each, named by the SHA-256 of its G-code."""

import os
import re
from pathlib import Path
from typing import Final

from flask import Blueprint, abort, current_app, redirect, send_from_directory, url_for
from werkzeug.wrappers import Response

from etchweb.guard import CACHE_FOR_EVER

pages = Blueprint("pictures", __name__)

# Scaled down here and not in the browser, whose quick way turns fine dots into moiré. A dot
# pattern hardly compresses: at this width and quality the first view of a page stays small.
SMALL_WIDTH_PX: Final = 540
_SMALL_QUALITY: Final = 40

_NAME: Final = re.compile(r"[0-9a-f]{64}(\.png|-small\.jpg)")


def keep_picture(picture: Path, *, folder: Path, gcode_sha256: str) -> None:
    """Put `picture` where the page finds it; for whoever prepares a job, not for the page."""
    from PIL import Image  # noqa: PLC0415 - the page serves pictures without loading this

    folder.mkdir(parents=True, exist_ok=True)
    whole, small = folder / f"{gcode_sha256}.png", folder / f"{gcode_sha256}-small.jpg"
    with Image.open(picture) as image:
        height_px = max(1, round(image.height * SMALL_WIDTH_PX / image.width))
        reduced = image.convert("L").resize((SMALL_WIDTH_PX, height_px), Image.Resampling.LANCZOS)
    reduced.save(_unfinished(small), "JPEG", quality=_SMALL_QUALITY, optimize=True)
    _unfinished(small).replace(small)
    _unfinished(whole).write_bytes(picture.read_bytes())
    _unfinished(whole).replace(whole)


@pages.get("/picture/<name>")
def show(name: str) -> Response:
    """Return a job's picture; its name says what is in it, so it may be kept for ever."""
    kind = _NAME.fullmatch(name)
    if not kind:
        abort(404)
    folder: Path = current_app.extensions["etchweb"].pictures
    if kind[1] == "-small.jpg" and not (folder / name).exists():
        return redirect(url_for("pictures.show", name=f"{name[:64]}.png"))
    answer = send_from_directory(folder.absolute(), name)
    answer.headers["Cache-Control"] = CACHE_FOR_EVER
    return answer


def _unfinished(path: Path) -> Path:
    return path.with_name(f"{path.name}.{os.getpid()}")
