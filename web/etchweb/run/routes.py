"""The addresses of the page *Watch* and its shades."""

from flask import Flask

from etchweb.context import app_context
from etchweb.run import dose_views, views
from etchweb.text.emergencies import gravest_of


def register(app: Flask) -> None:
    """Give `app` these pages, and every template the emergency there is."""
    for views_of in (dose_views, views):
        app.register_blueprint(views_of.pages)
    app.jinja_env.globals["emergency_title"] = _emergency_title


def _emergency_title() -> str:
    """Return what emergency the box reported last; nothing mostly, and nothing while it is away."""
    snapshot = app_context().listener.report.snapshot
    emergency = None if snapshot is None else gravest_of(snapshot.interlocks.trips)
    return "" if emergency is None else emergency.title
