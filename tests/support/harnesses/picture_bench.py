"""A draft brought as far as its proof without a browser, for pictures and figures of the page."""

import json
import shutil
from pathlib import Path
from typing import Any, Final

from werkzeug.datastructures import MultiDict

from etchweb.catalogue.pairs import ask_pairs
from etchweb.drafts.forms import with_cut, with_tile
from etchweb.drafts.presenter import tile_size_px
from etchweb.drafts.store import PHOTO_NAME
from support.fakes.catalogue_answers import HEAD, SURFACE

PATIENCE_S: Final = 60.0


def draft_to_proof(app: Any, photo: Path, *, width_mm: float, height_mm: float) -> str:
    """Return the address of a draft of `photo`, cut, tried and made."""
    address = draft_tried(app, photo, width_mm=width_mm, height_mm=height_mm)
    drafts, works = app.extensions["etchweb drafts"], app.extensions["etchweb works"]
    draft_id = address.rpartition("/")[2]
    folder, draft = drafts.folder_of(draft_id), drafts.find(draft_id)
    assert works.begin(folder, "make", draft.found_key).over.wait(PATIENCE_S)
    return address


def draft_tried(app: Any, photo: Path, *, width_mm: float, height_mm: float) -> str:
    """Return the address of a draft of `photo`, cut and tried."""
    drafts, works = app.extensions["etchweb drafts"], app.extensions["etchweb works"]
    draft = drafts.begin(photo.name)
    folder = drafts.folder_of(draft.id)
    shutil.copy(photo, folder / PHOTO_NAME)
    assert works.begin(folder, "take", "photo").over.wait(PATIENCE_S)
    sides = {"width_mm": f"{width_mm}", "height_mm": f"{height_mm}"}
    form = MultiDict({"pair": json.dumps([HEAD.name, SURFACE.name]), **sides})
    draft = with_tile(draft, form, ask_pairs(app.extensions["etchweb"].daemon))
    size_px = tile_size_px(drafts.facts(draft.id), 0)
    draft = with_cut(draft, MultiDict({"left": "10", "top": "0", "wide": "80"}), size_px)
    drafts.keep(draft)
    assert works.begin(folder, "try", draft.tried_key).over.wait(PATIENCE_S)
    return f"/new/{draft.id}"
