"""Addresses about what was etched, and about pictures of it."""

from typing import Final

from etchweb.logbook.verdict_presenter import CHOICES, LONGEST_TEXT
from page_description.entries import MULTIPART, TEXT, Entry

_NUMBER: Final = {"type": "integer", "minimum": 0, "maximum": 2**53 - 1}
_ROW: Final = {"type": "string", "pattern": "^[0-9]{0,6}$"}
_DAY: Final = {"type": "string", "format": "date"}
_ANY_TEXT: Final = {"type": "string", "maxLength": LONGEST_TEXT}

RECORDS: Final = (
    Entry(
        method="GET",
        path="/logbook",
        says="Etches, the newest first: all, or those that are sought.",
        asks={
            "before": _NUMBER, "text": TEXT, "laser": TEXT, "surface": TEXT, "verdict": TEXT,
            "since": _DAY, "until": _DAY,
        },
        answers=(404, 503),
    ),
    Entry(
        method="GET",
        path="/logbook/{number}",
        says="One etch: its tile, its recipe, and what was run beside it.",
        where={"number": _NUMBER},
        answers=(404, 503),
    ),
    Entry(
        method="GET",
        path="/logbook/{number}.csv",
        says="What was run in each row, as a table for a spreadsheet.",
        where={"number": _NUMBER},
        gives="text/csv",
        answers=(404, 503),
    ),
    Entry(
        method="GET",
        path="/logbook/{number}/take-up-again",
        says="What is known of an etch that was cut short, and what is left of it.",
        role="operate",
        where={"number": _NUMBER},
        asks={"row": _ROW, "by": {"const": "eye"}},
        answers=(404, 503),
    ),
    Entry(
        method="POST",
        path="/logbook/{number}/take-up-again",
        says="Show another row as the first that is not dark, or load the rest.",
        role="operate",
        where={"number": _NUMBER},
        asks={
            "row": _ROW,
            "by": TEXT,
            "confirm": TEXT,
            "accept_gap": TEXT,
            "do": {"enum": ["show", "load"]},
        },
        answers=(404, 409, 422, 502, 503),
    ),
    Entry(
        method="POST",
        path="/logbook/{number}/verdict",
        says="Say what the wiped tile looks like.",
        role="operate",
        where={"number": _NUMBER},
        asks={
            "verdict": {"enum": [choice.word for choice in CHOICES]},
            "cause": _ANY_TEXT,
            "note": _ANY_TEXT,
            "photo": {"type": "string", "contentMediaType": MULTIPART, "format": "binary"},
        },
        needs=("verdict",),
        is_file_form=True,
        answers=(404, 409, 422, 503),
    ),
    Entry(
        method="POST",
        path="/logbook/{number}/forget-photo",
        says="Delete one kept photo of the wiped tile.",
        role="operate",
        where={"number": _NUMBER},
        asks={"name": TEXT},
        needs=("name",),
        answers=(404, 503),
    ),
    Entry(
        method="GET",
        path="/tile/{name}",
        says="A photo of a wiped tile.",
        gives="image/jpeg",
        answers=(404,),
    ),
    Entry(
        method="GET",
        path="/picture/{name}",
        says="The picture of a job, whole or small, or of the head's way.",
        gives="image/*",
        answers=(302, 404),
    ),
    Entry(
        method="GET",
        path="/head-path/{gcode_sha256}",
        says="The way of the head through a job, with legend and scale.",
        answers=(404,),
    ),
)  # fmt: skip
