"""Where photos are chosen: what is taken, how it is called, and what is said where there is none.

One template part (`server/picker.html`) and one script (`server/picker.js`) serve every form that
takes photos; they say these sentences, and so does the box to a phone without scripts.
"""

import re
from collections.abc import Iterable
from typing import Final

from flask import Flask
from werkzeug.datastructures import FileStorage

TAKES: Final = ",".join(
    (
        *(f"image/{kind}" for kind in ("jpeg", "png", "webp", "tiff", "heic", "heif")),
        ".heic",
        ".heif",
    )
)  # by its ending, where a phone does not know HEIC
NO_PHOTO: Final = "Choose a photo first, or take one."
TOO_LARGE: Final = "{name} has {has} MB, and the box takes {takes}. Save a smaller copy."
NOT_ARRIVED: Final = (
    "The photo did not arrive. Check that this phone still reaches the box, then try again."
)
CHECKING: Final = "The box is checking the photo."
_LONGEST_NAME: Final = 60


def add_picker(app: Flask) -> None:
    """Have the templates of `app` know what the picker takes and says."""
    app.jinja_env.globals["PICKER"] = {
        "takes": TAKES,
        "no_photo": NO_PHOTO,
        "too_large": TOO_LARGE,
        "not_arrived": NOT_ARRIVED,
        "checking": CHECKING,
    }


def chosen_photos(sent: Iterable[FileStorage]) -> list[FileStorage]:
    """Return the files that were chosen: of several places to choose from most stay empty."""
    return [photo for photo in sent if photo.filename]


def shown_name(sent: str | None) -> str:
    """Return what a phone calls its photo, fit to be shown: the last part, without odd letters."""
    last = re.split(r"[/\\]", sent or "")[-1]
    kept = "".join(letter for letter in last if letter.isprintable()).strip(" .")
    if len(kept) > _LONGEST_NAME:
        kept = kept[: _LONGEST_NAME - 8] + kept[-8:]
    return kept or "photo"
