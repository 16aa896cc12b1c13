"""Who may send a photo now: decided before the first byte of it is kept."""

import shutil
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from flask import Flask, abort, current_app, g, request
from werkzeug.wrappers import Response

from etchweb.server.errors import NotKept
from etchweb.server.header_check import HEADER_CHECK, HeaderCheck
from etchwire.retention import MB

MOST_AT_ONCE: Final = 3  # each holds a thread while its photo is looked at
COPIES: Final = 2  # as it came, and taken out of its form
STAYS_FREE_BYTES: Final = 30 * MB  # below it nothing is started

ALREADY_SENDING: Final = "This phone is sending a photo already. Wait until it is there."
OTHERS_SEND: Final = "Other phones are sending photos. Try again in a minute."
NO_ROOM: Final = (
    "There is no room left in the box’s storage for a photo of that size. Delete drafts, or make"
    " room."
)


class Uploads:
    """The uploads under way, one a phone, in the space that the card has; any thread may ask.

    `free_bytes` tells how much that is.
    """

    def __init__(self, free_bytes: Callable[[], int]) -> None:
        self._free_bytes = free_bytes
        self._sizes_bytes: dict[str, int] = {}
        self._lock = threading.Lock()

    @property
    def are_under_way(self) -> bool:
        """Whether anybody is sending."""
        return bool(self._sizes_bytes)

    def begin(self, holder: str, size_bytes: int) -> Callable[[], None]:
        """Begin one of `holder`'s, and return how to end it; abort with a sentence."""
        with self._lock:
            if holder in self._sizes_bytes:
                abort(409, ALREADY_SENDING)
            if len(self._sizes_bytes) >= MOST_AT_ONCE:
                abort(503, OTHERS_SEND)
            on_the_way_bytes = COPIES * (size_bytes + sum(self._sizes_bytes.values()))
            if self._free_bytes() < on_the_way_bytes + STAYS_FREE_BYTES:
                raise NotKept(NO_ROOM)
            self._sizes_bytes[holder] = size_bytes
        return partial(self._end, holder)

    def _end(self, holder: str) -> None:
        with self._lock:
            self._sizes_bytes.pop(holder, None)


def free_bytes_of(folder: Path) -> int:
    """Return how much room there is where `folder` lies."""
    return shutil.disk_usage(folder).free


def ask_before_bodies(app: Flask) -> None:
    """Have `app` say at the headers of a large request whether its body may be sent.

    Register it behind the checks that need no body, and before those that do.
    """
    app.before_request(_grant)


def _grant() -> Response | None:
    question: HeaderCheck | None = request.environ.get(HEADER_CHECK)
    if question is None:
        return None
    uploads: Any = current_app.extensions["etchweb machines"].uploads
    question.grant(uploads.begin(g.visitor.holder, request.content_length or 0))
    return Response(status=204)
