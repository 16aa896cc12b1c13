"""Addresses where lasers, tiles and paints are described."""

from typing import Any, Final

from etchweb.catalogue.forms import HEAD_FIELDS
from etchweb.catalogue.lots import COUNT_FIELDS, FIGURE_FIELDS, TEXT_FIELDS
from page_description.entries import TEXT, Entry

_ASKED: Final = (303, 409, 422, 503)
_FIGURE: Final = {"type": "string", "pattern": r"^\d{1,6}([.,]\d{1,4})?$"}
_FIGURES: Final[dict[str, Any]] = {name: _FIGURE for name, _, _ in HEAD_FIELDS}
_WORDS: Final[dict[str, Any]] = dict.fromkeys(
    ("name", "tile", "batch", "paint", "can", "coating", "coats", "coated_on", "notes"), TEXT
)
_LOT: Final[dict[str, Any]] = {
    **dict.fromkeys(("name", "surface", "notes", "frost_rated"), TEXT),
    **{name: TEXT for name, _, _ in TEXT_FIELDS},
    **{name: _FIGURE for name, _, _ in (*COUNT_FIELDS, *FIGURE_FIELDS)},
    "painted_at": {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d$"},
}

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
        method="POST", path="/lasers/filter-changed", says="Note a new filter.", role="operate",
        answers=_ASKED,
    ),
    Entry(
        method="GET", path="/tiles-and-paints", says="Tiles and paints.", role="watch",
        answers=(503,),
    ),
    Entry(
        method="POST", path="/tiles-and-paints", says="Describe tile and paint.", role="operate",
        asks=_WORDS, answers=_ASKED,
    ),
    Entry(method="GET", path="/lots", says="Painting lots.", role="watch", answers=(503,)),
    Entry(
        method="POST", path="/lots", says="Describe a painting lot.", role="operate",
        asks=_LOT, needs=("painted_at",), answers=_ASKED,
    ),
    Entry(
        method="POST", path="/lots/compare", says="Compare the whites of two tiles in a photo.",
        role="operate", asks={"photo": {"type": "string", "format": "binary"}}, needs=("photo",),
        is_file_form=True, answers=(422, 503, 507),
    ),
)  # fmt: skip
