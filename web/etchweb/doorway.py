"""What is turned away at the door, before anything of it is kept: requests larger than any form."""

from typing import Any, Final

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import RequestEntityTooLarge

from etchweb.guard import BRINGS_FILES, LARGEST_FORM_BYTES, LARGEST_PHOTO_BYTES

LARGEST_REQUEST_BYTES: Final = max(BRINGS_FILES.values()) + LARGEST_FORM_BYTES
TOO_LARGE: Final = (
    f"That is more than the box takes: a photo may have {LARGEST_PHOTO_BYTES // 1_000_000} MB. "
    "Save a smaller copy and send that.\n"
)


class TooLarge(RequestEntityTooLarge):  # type: ignore[misc]
    """The same refusal, in a sentence a person can act on."""

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        """Return status, headers and body."""
        status, headers, _ = super().to_response(ident)
        return status, headers, TOO_LARGE.encode()


class Request(HTTPRequestParser):  # type: ignore[misc]
    """A request that says why it was turned away."""

    error: Any = None

    def received(self, data: bytes) -> int:
        """Take in some bytes; return how many were used."""
        used: int = super().received(data)
        if isinstance(self.error, RequestEntityTooLarge) and not isinstance(self.error, TooLarge):
            self.error = TooLarge(self.error.body)
        return used


class Channel(HTTPChannel):  # type: ignore[misc]
    """A phone's connection."""

    parser_class = Request
