"""The addresses of *Test cards*."""

from typing import Final

from flask import Blueprint, Flask

from etchweb.cards import step_views, views

NUMBER: Final = "<int(max=2147483647):number>"

pages = Blueprint("cards", __name__, url_prefix="/test-tiles")

pages.get("")(views.show)
pages.route("/new", methods=["GET", "POST"])(views.new)
pages.get(f"/{NUMBER}")(views.show_card)
pages.get(f"/{NUMBER}/work.json")(views.work)
pages.get(f"/{NUMBER}/<name>")(views.overlay)
pages.post(f"/{NUMBER}/bench")(views.put_on_bench)
pages.post(f"/{NUMBER}/photos")(step_views.read_photos)
pages.post(f"/{NUMBER}/marks")(step_views.mark)
pages.post(f"/{NUMBER}/pairs")(step_views.say_pairs)
pages.post(f"/{NUMBER}/choose")(step_views.choose)


def register(app: Flask) -> None:
    """Give `app` these pages."""
    app.register_blueprint(pages)
