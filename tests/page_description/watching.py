"""Addresses about the machine as it is now, and about who may come in."""

from typing import Any, Final

from etchwire.catalogue.dose import DARKEST_PERCENT, LIGHTEST_PERCENT
from page_description.entries import JSON, TEXT, Entry

_YES: Final = {"const": "yes"}
_REFUSALS: Final = (409, 422, 502, 503)


def _asking(path: str, says: str, role: str = "operate", **more: Any) -> Entry:
    return Entry(method="POST", path=path, says=says, role=role, answers=_REFUSALS, **more)


WATCHING: Final = (
    Entry(method="GET", path="/", says="The tile as it etches."),
    Entry(method="GET", path="/watch.json", says="What that page says.", gives=JSON),
    Entry(
        method="GET",
        path="/watch/stream",
        says="The same as server-sent events: everything once, then what has changed.",
        gives="text/event-stream",
        answers=(503,),
    ),
    _asking(
        "/arm",
        "Begin to get ready: the answers to the checklist, each as `answer KEY`.",
        asks={"tile": TEXT, "cautions": {"const": "read"}, "has read": TEXT, "answer lens": _YES},
        needs=("tile", "cautions"),
    ),
    _asking("/disarm", "Undo getting ready."),
    _asking("/reset", "Reset the trips that were shown.", asks={"name": TEXT}),
    _asking("/answer-round", "Say that somebody is within reach, or has looked after the end."),
    _asking(
        "/start",
        "Begin to etch; somebody at the machine has to have shown that they are there.",
        asks={"tile": TEXT, "long run": {"const": "known"}, "who stays": TEXT},
        needs=("tile",),
    ),
    _asking("/hold", "Come to rest at the row's end.", role="watch"),
    _asking("/hold-now", "Come to rest within the row.", role="watch"),
    _asking("/resume", "Go on after a hold."),
    _asking("/stop", "End the etch; the beam goes out.", role="watch"),
    _asking(
        "/shade",
        "Etch on with this burn strength, in percent of the recipe's.",
        asks={
            "strength": {
                "type": "integer", "minimum": LIGHTEST_PERCENT, "maximum": DARKEST_PERCENT,
            }
        },
        needs=("strength",),
    ),
)  # fmt: skip

PAIRING: Final = (
    Entry(
        method="GET",
        path="/static/{version}/{filename}",
        says="A style, script or icon, by a digest of them all.",
        role="",
        gives="*/*",
        answers=(404,),
    ),
    Entry(method="GET", path="/pair", says="Where the code is typed.", role=""),
    Entry(
        method="POST",
        path="/pair",
        says="Let a phone in that knows the code.",
        role="",
        asks={"code": TEXT, "name": TEXT},
        needs=("code",),
        answers=(422, 429),
    ),
    Entry(method="GET", path="/machines", says="Every machine of this board, and how it stands."),
    Entry(method="GET", path="/fleet", says="Every box of the shop, as its broker tells."),
    Entry(method="GET", path="/phones", says="The paired phones."),
    Entry(
        method="POST",
        path="/phones/add",
        says="Open a code for one more phone, with the square that opens the page there.",
        role="operate",
        asks={"role": {"enum": ["watch", "operate"]}},
        needs=("role",),
        answers=(422, 503),
    ),
    Entry(
        method="POST",
        path="/phones/{number}/forget",
        says="Ask whether a phone is to be removed, then remove it.",
        role="operate",
        asks={"sure": _YES, "and": {"enum": ["let in"]}},
        where={"number": {"type": "integer", "minimum": 0}},
        answers=(404,),
    ),
    Entry(
        method="POST",
        path="/leave",
        says="Ask whether this phone is to be signed out, then do it.",
        asks={"sure": _YES},
    ),
    Entry(method="GET", path="/practice", says="The practice panel.", role="operate"),
    Entry(
        method="GET",
        path="/practice/tile.png",
        says="A photo of the practice machine's tile.",
        role="operate",
        gives="image/png",
        answers=(503,),
    ),
    Entry(
        method="POST",
        path="/practice/{name}",
        says="Do something to the practice machine.",
        role="operate",
        answers=(404, 503),
    ),
)
