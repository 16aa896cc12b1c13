"""What people say of a wiped tile, in the shop's words: pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from etchweb.text.formatting import as_sentence
from etchwire.calls.history import Verdict
from etchwire.catalogue.records import GOOD, TEXT_LIMIT, UNRATED


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing a tile may look like, and how a person tells."""

    word: str  # the logbook's
    label: str
    looks: str


CHOICES: Final = (
    Choice(GOOD, "Good", "Survives scouring, greys as they should be."),
    Choice("pale", "Pale", "Grey where it should be black, or wiped off to a shadow."),
    Choice("patchy", "Patchy", "Dark here, pale there: paint, focus or a tile that is not flat."),
    Choice("banded", "Bands across", "Stripes of rows that differ from their neighbours."),
    Choice(
        "doubled", "Doubled", "Double edges: rows to the left and rows to the right do not meet."
    ),
    Choice("shifted", "Shifted", "From some row on, the picture is out of place."),
    Choice("rubbed off", "Rubbed off", "It was there, but came off with the paint."),
    Choice("glaze damaged", "Glaze damaged", "Rough, chipped or crazed where it was burnt."),
    Choice("broken", "Broken", "The tile broke in two."),
    Choice("cracked or chipped", "Cracked or chipped", "The tile or its glaze, etched or not."),
    Choice("fault in the coat", "Fault in the coat", "A run, a bubble, dust or a bare spot."),
    Choice(
        "our mistake", "Our mistake", "Wrong picture, place or setting; nothing to learn of it."
    ),
)

CAUSES: Final = (
    "too little burn strength", "too much burn strength", "paint too thin", "paint uneven",
    "paint not dry", "out of focus", "dirty lens", "tile not flat", "tile moved", "belt slack",
    "fan stopped", "held too long",
)  # fmt: skip

LONGEST_TEXT: Final = TEXT_LIMIT
SOUGHT_VERDICTS: Final = {UNRATED: "Not rated yet"} | {one.word: one.label for one in CHOICES}
_LABELS: Final = {choice.word: choice.label for choice in CHOICES}


def verdict_words(verdict: str | None) -> str:
    """Return the shop's word for a verdict; nothing where nobody has said one yet."""
    return "" if verdict is None else _LABELS.get(verdict, verdict.capitalize())


def verdict_lines(verdicts: Sequence[Verdict]) -> list[dict[str, str]]:
    """Return what was said of a tile, the latest first: it is the one that counts."""
    return [
        {
            "word": verdict_words(verdict.verdict),
            "tile": "" if verdict.pocket is None else f"Pocket {verdict.pocket}",
            "cause": as_sentence(verdict.cause),
            "note": as_sentence(verdict.note),
            "photo": verdict.photo,
            "at": verdict.at_utc,
            "who": verdict.who,
        }
        for verdict in reversed(verdicts)
    ]
