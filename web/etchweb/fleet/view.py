"""The page on which all boxes of a shop are seen, by what they told the broker."""

from typing import Final

from flask import Blueprint, Flask, current_app, render_template

from etchweb.fleet.box_summary import box_summary, summary
from etchweb.fleet.watcher import Watcher

pages = Blueprint("fleet", __name__)

EXTENSION: Final = "etchweb.fleet"
NO_BROKER: Final = "This box reports to no broker, so it knows of no other box."
NOBODY: Final = "The broker knows of no box."


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)


@pages.get("/fleet")
def show() -> str:
    """Show every box of the shop, whether or not it is there."""
    watcher: Watcher | None = current_app.extensions.get(EXTENSION)
    sights = [] if watcher is None else [box_summary(box) for box in watcher.boxes()]
    trouble = NO_BROKER if watcher is None else watcher.trouble
    return render_template(
        "fleet/fleet.html",
        sights=sights,
        trouble=trouble,
        is_old=bool(trouble and sights),
        summary=summary(sights) if sights else ("" if trouble else NOBODY),
    )
