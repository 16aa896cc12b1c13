"""What is turned away at the door: requests larger than any form, or than the card has room for."""

from contextlib import suppress
from typing import Any, Final

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import Error, RequestEntityTooLarge

from etchweb.guard import BRINGS_FILES, LARGEST_FORM_BYTES, LARGEST_PHOTO_BYTES
from etchwire.storing import fault_of_card

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


class NotTaken(Error):  # type: ignore[misc]
    """The card had no room for a request on its way in; `body` is the sentence."""

    code = 507
    reason = "Insufficient Storage"

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        """Return status, headers and body."""
        status, headers, _ = super().to_response(ident)
        return status, headers, f"That was not kept: {self.body}.\n".encode()


class _Nowhere:
    """Where the rest of a refused request goes: who still sends cannot hear the answer."""

    def append(self, data: bytes) -> None:
        pass

    def close(self) -> None:
        pass


class Request(HTTPRequestParser):  # type: ignore[misc]
    """A request that says why it was turned away."""

    error: Any = None
    refusal: NotTaken | None = None

    def received(self, data: bytes) -> int:
        """Take in some bytes; return how many were used."""
        try:
            used: int = super().received(data)
        except OSError as error:  # what is larger than half a megabyte waits on the card
            self._refuse(error)
            used = super().received(data)
        if self.refusal is not None and self.completed:
            self.error = self.refusal
        elif isinstance(self.error, RequestEntityTooLarge) and not isinstance(self.error, TooLarge):
            self.error = TooLarge(self.error.body)
        return used

    def _refuse(self, error: OSError) -> None:
        told = fault_of_card(error)
        if told is None:
            raise error
        self.refusal = NotTaken(told)
        with suppress(OSError):  # which writes what it still holds
            self.body_rcv.buf.close()
        self.body_rcv.buf = _Nowhere()


class Channel(HTTPChannel):  # type: ignore[misc]
    """A phone's connection."""

    parser_class = Request
