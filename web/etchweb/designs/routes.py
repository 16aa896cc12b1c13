"""The address of *Lettering and shape*."""

from flask import Blueprint, Flask

from etchweb.designs import views

pages = Blueprint("designs", __name__, url_prefix="/new")

pages.route("/<draft_id>/design", methods=["GET", "POST"])(views.design)


def register(app: Flask) -> None:
    """Give `app` this page."""
    app.register_blueprint(pages)
