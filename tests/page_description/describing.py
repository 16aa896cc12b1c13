"""Addresses where lasers, tiles and paints are described."""

from typing import Any, Final

from etchweb.catalogue.forms import HEAD_FIELDS
from page_description.entries import TEXT, Entry

_ASKED: Final = (303, 409, 422, 503)
_FIGURE: Final = {"type": "string", "pattern": r"^\d{1,6}([.,]\d{1,4})?$"}
_FIGURES: Final[dict[str, Any]] = {name: _FIGURE for name, _, _ in HEAD_FIELDS}
_WORDS: Final[dict[str, Any]] = dict.fromkeys(
    ("name", "tile", "batch", "paint", "can", "coating", "coats", "coated_on", "notes"), TEXT
)

DESCRIBING: Final = (
    Entry(method="GET", path="/lasers", says="The lasers.", role="watch", answers=(503,)),
    Entry(
        method="POST", path="/lasers", says="Describe a laser.", role="operate",
        asks={"name": TEXT, **_FIGURES, "notes": TEXT}, answers=_ASKED,
    ),
    Entry(
        method="POST", path="/lasers/lens-wiped", says="Note a wiped lens.", role="operate",
        asks={"name": TEXT}, answers=_ASKED,
    ),
    Entry(
        method="GET", path="/tiles-and-paints", says="Tiles and paints.", role="watch",
        answers=(503,),
    ),
    Entry(
        method="POST", path="/tiles-and-paints", says="Describe tile and paint.", role="operate",
        asks=_WORDS, answers=_ASKED,
    ),
)  # fmt: skip
