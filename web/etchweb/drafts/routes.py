"""The addresses of *New picture*, and where its drafts lie."""

from pathlib import Path

from flask import Blueprint, Flask

from etchweb.drafts import proof_views, step_views, views
from etchweb.drafts.store import DRAFTS_FOLDER, Drafts
from etchweb.workers.work import WorkQueue

pages = Blueprint("new_picture", __name__, url_prefix="/new")

pages.get("")(views.show)
pages.post("")(views.upload)
pages.post("/sign")(views.begin_sign)
pages.post("/same-again/<int(max=9007199254740991):number>")(proof_views.begin_again)
pages.get("/<draft_id>")(step_views.go_on)
pages.post("/<draft_id>/away")(views.put_away)
pages.post("/<draft_id>/cancel")(views.cancel)
pages.get("/<draft_id>/work.json")(views.work)
pages.get("/<draft_id>/<name>")(views.picture)
for _step in (step_views.tile, step_views.cut, step_views.look, proof_views.proof):
    pages.route(f"/<draft_id>/{_step.__name__}", methods=["GET", "POST"])(_step)
pages.post("/<draft_id>/mend/<finding>")(proof_views.mend)
pages.post("/<draft_id>/bench")(proof_views.put_on_bench)


def register(app: Flask, folder: Path) -> None:
    """Give `app` these pages, its drafts in `folder`, and the work on them."""
    drafts = Drafts(folder / DRAFTS_FOLDER)
    drafts.clear_unfinished()
    app.extensions["etchweb drafts"] = drafts
    app.extensions["etchweb works"] = WorkQueue()
    app.register_blueprint(pages)
