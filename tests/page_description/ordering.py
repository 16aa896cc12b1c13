"""Addresses about orders."""

from typing import Any, Final

from etchweb.orders.cost_views import FIELDS
from etchweb.orders.forms import WAYS
from etchwire.catalogue.orders import PROOF_ANSWERS, TRIALS_OF_PLACE
from page_description.entries import TEXT, Entry

_NUMBER: Final = {"type": "integer", "minimum": 0, "maximum": 2**53 - 1}
_FIGURE: Final = {"type": "string", "pattern": r"^\d{1,4}([.,]\d{1,3})?$"}
_FILE: Final = {"type": "string", "format": "binary"}
_YES: Final = {"enum": ["yes", ""]}
_DAY: Final = {"type": "string", "pattern": r"^(\d{4}-\d\d-\d\d)?$"}
_ASKED: Final = (303, 404, 409, 422, 503)
_VERSION: Final = {"type": "string", "pattern": "^[0-9]{1,15}$"}
_HEAD: Final[dict[str, Any]] = {
    "customer": TEXT, "due_on": _DAY, "note": TEXT, "may_use_photo_on": _DAY,
}  # fmt: skip
_ITEM: Final[dict[str, Any]] = {
    "title": TEXT, "width_mm": _FIGURE, "height_mm": _FIGURE, "surface": TEXT,
    "place": {"enum": list(TRIALS_OF_PLACE)}, "text": TEXT, "count": _FIGURE, "is_set": _YES,
    "price": _FIGURE,
}  # fmt: skip


def _of_order(name: str, says: str, **asks: Any) -> Entry:
    return Entry(
        method="POST", path=f"/orders/{{number}}{name}", says=says, role="operate",
        where={"number": _NUMBER}, asks=asks, answers=_ASKED,
    )  # fmt: skip


_BENCH: Final[dict[str, Any]] = {
    "jig": {"enum": ["Signs", "none", ""]}, "pocket-1": TEXT, "pocket-3": TEXT,
    "thickness_mm": _FIGURE, "lot": TEXT, "lot-1": TEXT, "lot-3": TEXT, "has_read": _YES,
}  # fmt: skip

_JIG: Final[dict[str, Any]] = {
    "name": TEXT, "columns": _FIGURE, "rows": _FIGURE, "pitch_x_mm": _FIGURE,
    "pitch_y_mm": _FIGURE, "width_mm": _FIGURE, "height_mm": _FIGURE, "tile_mm": _FIGURE,
    "focus_depth_mm": _FIGURE, "exhaust": {"enum": ["left", "back", ""]}, "pointer": TEXT,
    "step": {"enum": ["0.1", "1", "10"]}, "way": {"enum": ["left", "up", ""]},
    "corner": {"enum": ["first", "far", ""]},
}  # fmt: skip

ORDERING: Final = (
    Entry(
        method="GET", path="/bench", says="A bench plan, to scale.", role="operate", asks=_BENCH,
        answers=(503,),
    ),
    Entry(
        method="POST", path="/bench", says="Load the tiles of a plan as one job.", role="operate",
        asks=_BENCH, answers=(303, 409, 422, 502, 503, 507),
    ),
    Entry(
        method="GET", path="/bench/next", says="Lay what orders wait for into a jig.",
        role="operate", asks={"jig": _BENCH["jig"]}, answers=(303, 404, 503),
    ),
    Entry(
        method="GET", path="/bench/make", says="How far a plan's pictures are, then the plan.",
        role="operate", asks=_BENCH, answers=(200, 303, 422, 503, 507),
    ),
    Entry(
        method="POST", path="/bench/make", says="Make what a plan needs.",
        role="operate", asks=_BENCH, answers=(303, 503),
    ),
    Entry(
        method="GET", path="/bench/loaded", says="The plan of the job that is loaded.",
        role="operate", answers=(303, 503),
    ),
    Entry(
        method="POST", path="/bench/again/{number}", says="Lay the tiles of an etch again.",
        role="operate", where={"number": _NUMBER}, asks={"pocket": TEXT},
        answers=(303, 404, 503, 507),
    ),
    Entry(
        method="GET", path="/bench/jig", says="A jig, measured by moving the head.",
        role="operate", answers=(503,),
    ),
    Entry(
        method="POST", path="/bench/jig", says="Move the head, or take the corner below it.",
        role="operate", asks=_JIG, answers=(303, 409, 422, 502, 503),
    ),
    Entry(
        method="GET", path="/orders", says="Orders, those due first first.",
        asks={"from": _NUMBER, "done": _YES}, answers=(404, 503),
    ),
    Entry(
        method="GET", path="/orders/new", says="A new order.", role="operate", answers=(503,)
    ),
    Entry(
        method="POST", path="/orders/new", says="Write down a new order.", role="operate",
        asks=_HEAD | _ITEM, needs=("customer", "title"), answers=_ASKED,
    ),
    Entry(
        method="GET", path="/orders/list", says="Orders from a list.", role="operate",
        answers=(503,),
    ),
    Entry(
        method="POST", path="/orders/list", says="Take the orders of a list with their photos.",
        role="operate", is_file_form=True, needs=("list", "photo"),
        asks={
            "list": _FILE, "photo": _FILE, "pair": TEXT, "due_on": _DAY,
            "place": {"enum": list(TRIALS_OF_PLACE)},
        },
        answers=_ASKED,
    ),
    Entry(
        method="GET", path="/orders/costs", says="What a tile costs.", role="operate",
        answers=(503,),
    ),
    Entry(
        method="POST", path="/orders/costs", says="Say what a tile costs.", role="operate",
        asks={"currency": TEXT, **{name: _FIGURE for name, _ in FIELDS}}, needs=("currency",),
        answers=_ASKED,
    ),
    Entry(
        method="GET", path="/orders/costs.csv", says="What orders that are done cost.",
        role="operate", gives="text/csv", answers=(503,),
    ),
    Entry(
        method="GET", path="/orders/{number}", says="One order.", where={"number": _NUMBER},
        answers=(404, 503),
    ),
    _of_order("", "Change who it is for, and by when.", version=_VERSION, **_HEAD),
    _of_order(
        "/item", "Add an item, change one or take one out.", version=_VERSION, item=TEXT,
        do={"enum": ["remove", ""]}, **_ITEM,
    ),
    _of_order(
        "/proof", "Say that a proof was shown, or what was answered.", item=TEXT,
        answer={"enum": [*PROOF_ANSWERS, "agreed"]}, way={"enum": list(WAYS)}, shown_sha256=TEXT,
    ),
    _of_order("/forget", "Delete it at the customer's wish.", sure=_YES),
)  # fmt: skip
