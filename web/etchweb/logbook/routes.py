"""The addresses of *Logbook* and of verdicts."""

from flask import Flask

from etchweb.logbook import verdict_views, views


def register(app: Flask) -> None:
    """Give `app` these pages."""
    for views_of in (verdict_views, views):
        app.register_blueprint(views_of.pages)
