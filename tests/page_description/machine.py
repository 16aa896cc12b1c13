"""Addresses about the machine itself: its head, its settings, its wires."""

from typing import Any, Final

from etchweb.storage.kept_for import CHOICES, KEPT_KINDS
from page_description.entries import JSON, TEXT, Entry

_LENGTH: Final = {"type": "string", "pattern": r"^-?\d{1,4}([.,]\d{1,3})?$"}
_REFUSALS: Final = (409, 422, 502, 503)


def _deed(name: str, says: str, role: str = "operate", **more: Any) -> Entry:
    path = f"/machine/{name}"
    return Entry(method="POST", path=path, says=says, role=role, answers=_REFUSALS, **more)


MACHINE: Final = (
    Entry(method="GET", path="/machine", says="The bed, and where the head is.", answers=(503,)),
    Entry(method="GET", path="/machine/wiring", says="Contacts and outputs.", answers=(503,)),
    Entry(method="GET", path="/machine/settings", says="Connection and settings.", answers=(503,)),
    Entry(method="GET", path="/storage", says="What is kept, and for how long."),
    Entry(
        method="POST",
        path="/storage",
        says="Say how long each kind is kept.",
        role="operate",
        asks={kind.name: {"enum": list(CHOICES)} for kind in KEPT_KINDS},
        needs=tuple(kind.name for kind in KEPT_KINDS),
        answers=(422,),
    ),
    Entry(
        method="GET",
        path="/machine/now.json",
        says="What changes on that page; with `wiring`, the contacts as well.",
        asks={"wiring": TEXT},
        gives=JSON,
    ),
    _deed(
        "move",
        "Begin to move the head, beam off, to a place counted from the origin.",
        asks={"x": _LENGTH, "y": _LENGTH},
        needs=("x", "y"),
    ),
    _deed(
        "nudge",
        "Begin to move the head, beam off, by so many millimetres.",
        asks={
            "step": {"enum": ["0.1", "1", "10"]},
            "way": {"enum": ["left", "right", "up", "down"]},
        },
        needs=("step", "way"),
    ),
    _deed(
        "trace",
        "Begin to take the head, beam off, once round the picture.",
        asks={"run-ups": TEXT},
    ),
    _deed("set-origin", "Take the head's place as the origin.", asks={"back": {"enum": ["watch"]}}),
    _deed("find-origin", "Put the origin where it was before, by its machine coordinates."),
    _deed("home", "Begin to home the machine."),
    _deed("unlock", "Unlock the controller."),
    _deed("measure", "Begin to measure how fast the controller takes in lines."),
    _deed("stop", "Stop the head, or the etch.", role="watch"),
    _deed("try", "Try an output for a moment.", asks={"output": TEXT, "on": {"enum": ["no"]}}),
)
