"""The addresses of the page *Watch* and its shades."""

from flask import Flask

from etchweb.run import dose_views, views


def register(app: Flask) -> None:
    """Give `app` these pages."""
    for views_of in (dose_views, views):
        app.register_blueprint(views_of.pages)
