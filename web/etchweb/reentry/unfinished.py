"""The etch that may be taken up again, as the bench shows it: pure."""

from typing import Final

from etchweb.text.formatting import as_sentence
from etchweb.text.view import View
from etchwire.calls.snapshot import UnfinishedView

NO_UNFINISHED: Final[View] = {
    "unfinished": 0,
    "unfinished_title": "",
    "unfinished_words": "",
    "unfinished_tile": "",
}


def unfinished_part(left: UnfinishedView | None, scene: str) -> View:
    """Return what the bench says of it, where nothing else lies there."""
    if left is None or scene not in ("empty", "ended"):
        return {}
    return {
        "unfinished": left.run,
        "unfinished_title": left.title,
        "unfinished_words": as_sentence(left.sentence),
        "unfinished_tile": left.picture_sha256,
    }


def continues_words(run: int | None) -> str:
    """Return what is said of a picture that is the rest of an etch."""
    return "" if run is None else f"What is left of etch {run}; the rows above stay dark."
