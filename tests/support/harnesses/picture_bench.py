"""A draft brought as far as its proof without a browser, for pictures and figures of the page."""

import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from werkzeug.datastructures import MultiDict

from etchweb.catalogue.pairs import ask_pairs
from etchweb.drafts.forms import with_cut, with_tile
from etchweb.drafts.presenter import tile_size_px
from etchweb.drafts.store import PHOTO_NAME
from support.fakes.catalogue_answers import HEAD, SURFACE

PATIENCE_S: Final = 60.0
MOST_OF_IT: Final = {"left": "10", "top": "0", "wide": "80"}  # % of the photo
ALL_OF_IT: Final = {"left": "0", "top": "0", "wide": "100"}


def draft_to_proof(app: Any, photo: Path, **size_and_cut: Any) -> str:
    """Return the address of a draft of `photo` that was made, of what `draft_tried` takes."""
    address = draft_tried(app, photo, **size_and_cut)
    draft = app.extensions["etchweb drafts"].find(address.rpartition("/")[2])
    _work(app, draft.id, "make", draft.found_key)
    return address


def draft_tried(
    app: Any, photo: Path, *, width_mm: float, height_mm: float, cut: Mapping[str, str] = MOST_OF_IT
) -> str:
    """Return the address of a draft of `photo`, cut and tried."""
    address = draft_sized(app, photo, width_mm=width_mm, height_mm=height_mm)
    drafts, draft_id = app.extensions["etchweb drafts"], address.rpartition("/")[2]
    size_px = tile_size_px(drafts.facts(draft_id), 0)
    draft = with_cut(drafts.find(draft_id), MultiDict(cut), size_px)
    drafts.keep(draft)
    _work(app, draft.id, "try", draft.tried_key)
    return address


def draft_sized(app: Any, photo: Path, *, width_mm: float, height_mm: float) -> str:
    """Return the address of a draft of `photo` that has its tile and size."""
    address = draft_taken(app, photo)
    drafts = app.extensions["etchweb drafts"]
    sides = {"width_mm": f"{width_mm}", "height_mm": f"{height_mm}"}
    form = MultiDict({"pair": json.dumps([HEAD.name, SURFACE.name]), **sides})
    pairs = ask_pairs(app.extensions["etchweb"].daemon)
    drafts.keep(with_tile(drafts.find(address.rpartition("/")[2]), form, pairs))
    return address


def draft_taken(app: Any, photo: Path) -> str:
    """Return the address of a draft of `photo`, of which nothing else is known."""
    drafts = app.extensions["etchweb drafts"]
    draft = drafts.begin(photo.name)
    shutil.copy(photo, drafts.folder_of(draft.id) / PHOTO_NAME)
    _work(app, draft.id, "take", "photo")
    return f"/new/{draft.id}"


def _work(app: Any, draft_id: str, task: str, key: str) -> None:
    folder = app.extensions["etchweb drafts"].folder_of(draft_id)
    assert app.extensions["etchweb works"].begin(folder, task, key).over.wait(PATIENCE_S)
