"""The page on which all boxes of a shop are seen, by what they told the broker."""

from collections.abc import Mapping
from typing import Any, Final

from flask import Blueprint, current_app, render_template

from etchweb.fleet.roll import Box
from etchweb.fleet.watcher import Watcher
from etchweb.words import as_sentence

pages = Blueprint("fleet", __name__)

EXTENSION: Final = "etchweb.fleet"
NO_BROKER: Final = "This box reports to no broker, so it knows of no other box."
NOBODY: Final = "The broker knows of no box."


@pages.get("/fleet")
def show() -> str:
    """Show every box of the shop, whether or not it is there."""
    watcher: Watcher | None = current_app.extensions.get(EXTENSION)
    boxes = [] if watcher is None else watcher.boxes()
    trouble = NO_BROKER if watcher is None else watcher.trouble
    return render_template(
        "fleet.html",
        boxes=[box_view(box) for box in boxes],
        trouble=trouble or ("" if boxes else NOBODY),
    )


def box_view(box: Box) -> Mapping[str, Any]:
    """Return what is said of one box."""
    return {
        "name": box.name,
        "is_there": box.is_there,
        "sentence": as_sentence(box.said("etch/sentence") if box.is_there else box.absence),
        "picture": box.said("etch/picture"),
        "progress": _progress(box),
        "interlocks": _interlocks(box) if box.is_there else "",
        "trouble": as_sentence(box.said("records/trouble")),
        "beam_hours": _hours(box.said("machine/beam-hours")),
        "page": _address(box.said("machine/page")),
    }


def _progress(box: Box) -> str:
    if not box.said("etch/progress"):
        return ""
    rows, done = box.said("etch/rows"), box.said("etch/rows-done")
    return f"{box.said('etch/progress')} %, {done} of {rows} rows"


def _interlocks(box: Box) -> str:
    trips, unmet = box.said("interlocks/trips"), box.said("interlocks/unmet")
    if trips:
        return f"To be reset: {trips}."
    return f"Not good now: {unmet}." if unmet else "All interlocks are good."


def _address(page: str) -> str:
    """Return an address that may be followed: the broker's words are not ours."""
    return page if page.startswith(("http://", "https://")) else ""


def _hours(word: str) -> str:
    try:
        return f"{float(word):.1f}"
    except ValueError:
        return ""
