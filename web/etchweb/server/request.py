"""A request on its way in: judged at its headers, and its body kept in the page's own folder."""

from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final

from waitress.parser import HTTPRequestParser
from waitress.utilities import Error, RequestEntityTooLarge
from werkzeug.wrappers import Response

from etchweb.server.csrf_and_headers import BRINGS_FILES, LARGEST_FORM_BYTES, LARGEST_PHOTO_BYTES
from etchwire.storing import fault_of_card

LARGEST_HEADERS_BYTES: Final = 16 * 1024
LARGEST_REQUEST_BYTES: Final = max(BRINGS_FILES.values()) + LARGEST_FORM_BYTES
TOO_LARGE: Final = (
    f"That is more than the box accepts: a photo may have up to {LARGEST_PHOTO_BYTES // 1_000_000}"
    " MB. Save a smaller copy and send that.\n"
)
NO_LENGTH: Final = "Say how long the body is: a body in chunks is not accepted.\n"
TOO_OFTEN: Final = "That was asked too often. Wait a little, then try again.\n"


class TurnedAway(Error):  # type: ignore[misc]
    """A refusal by the server itself: status, and a sentence a person can act on."""

    def __init__(self, code: int, reason: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.reason = reason

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        """Return status, headers and body."""
        status, headers, _ = super().to_response(ident)
        return status, headers, str(self.body).encode()


class _Nowhere:
    """Where the rest of a refused request goes: who still sends cannot hear the answer."""

    def append(self, data: bytes) -> None:
        pass

    def close(self) -> None:
        pass


class Request(HTTPRequestParser):  # type: ignore[misc]
    """A request that `judge` sees once its headers are whole, before anything of its body is kept.

    `answer` is what it is answered with instead of by the application. `release` is called once
    when the request is over.
    """

    error: Any = None
    answer: Response | None = None
    wants_continue = False
    release: Callable[[], None] | None = None
    _no_room: TurnedAway | None = None

    def __init__(self, settings: Any, judge: Callable[["Request"], None] | None = None) -> None:
        super().__init__(settings)
        self._judge = judge

    @property
    def is_large(self) -> bool:
        """Whether it announces a body that is larger than any form without a file."""
        return bool(self.content_length > LARGEST_FORM_BYTES)

    @property
    def is_refused(self) -> bool:
        """Whether it is answered without its body."""
        return self.answer is not None or self.error is not None

    def received(self, data: bytes) -> int:
        """Take in some bytes; return how many were used."""
        had_headers = self.headers_finished
        try:
            used: int = super().received(data)
        except OSError as error:  # what is larger than half a megabyte waits on the card
            self._give_up_body(error)
            used = super().received(data)
        if self._no_room is not None and self.completed:
            self.error = self._no_room
        elif isinstance(self.error, RequestEntityTooLarge):
            self.error = TurnedAway(413, "Content Too Large", TOO_LARGE)
        elif self._judge and self.headers_finished and not had_headers and self.error is None:
            self._judge(self)
        return used

    def turn_away(self, error: TurnedAway) -> None:
        """Be over, answered with `error`."""
        self.error = error
        self.completed = True

    def close(self) -> None:
        """Be over: forget the body, and release what was held for it."""
        super().close()
        release, self.release = self.release, None
        if release is not None:
            release()

    def _give_up_body(self, error: OSError) -> None:
        told = fault_of_card(error)
        if told is None:
            raise error
        self._no_room = TurnedAway(507, "Insufficient Storage", f"That was not saved: {told}.\n")
        with suppress(OSError):  # which writes what it still holds
            self.body_rcv.buf.close()
        self.body_rcv.buf = _Nowhere()
