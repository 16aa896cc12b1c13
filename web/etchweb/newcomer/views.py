"""The path of a newcomer on every page that is a step of it: asked for by the templates."""

from flask import Flask, g, url_for

from etchweb.context import app_context
from etchweb.newcomer.path import BoxRecords, PathState, has_picture, path_of
from etchwire.calls.catalogue import Cards, Heads, Recipes, Surfaces
from etchwire.calls.history import Runs
from etchwire.errors import DaemonAbsent, Refused

_LATE = 20  # runs and cards: a shop's last few


def register(app: Flask) -> None:
    """Give the templates of `app` the path."""
    app.jinja_env.globals["newcomer_path"] = _path_of_page


def _path_of_page() -> PathState | None:
    """Return the path, asked for once however many parts of a page show it."""
    if "newcomer_path" not in g:
        g.newcomer_path = ask_path()
    path: PathState | None = g.newcomer_path
    return path


def ask_path() -> PathState | None:
    """Return the path for the visitor; None where it is over, theirs to watch only, or unknown."""
    if not g.visitor.may("craft.describe_laser"):
        return None
    daemon = app_context().daemon
    try:
        cards = daemon.ask(Cards(limit=_LATE)).cards
        if has_picture(cards, daemon.ask(Runs(limit=_LATE)).runs):
            return None
        records = BoxRecords(
            heads=daemon.ask(Heads()).heads,
            surfaces=daemon.ask(Surfaces()).surfaces,
            cards=cards,
            recipes=daemon.ask(Recipes()).recipes,
        )
    except (DaemonAbsent, Refused):
        return None
    return path_of(records)


def next_address(otherwise: str) -> str:
    """Return where the path goes on from here; `otherwise` where there is none."""
    path = ask_path()
    return otherwise if path is None else url_for(path.next.endpoint, **path.args)
