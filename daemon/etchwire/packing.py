"""Long texts on the wire and in the logbook: a card of 144 patches fits a line, packed."""

import zlib
from base64 import b64decode, b64encode
from typing import Final

from etchwire.errors import MalformedMessage

UNPACKED_LIMIT_BYTES: Final = 1_000_000


def pack(text: str) -> str:
    """Return `text` deflated and in base 64: a tenth of a card's description."""
    return b64encode(zlib.compress(text.encode(), 9)).decode("ascii")


def unpack(packed: str) -> str:
    """Return what `pack` was given; raise MalformedMessage for anything else, or too much."""
    try:
        opened = zlib.decompressobj()
        data = opened.decompress(b64decode(packed, validate=True), UNPACKED_LIMIT_BYTES)
        if not opened.eof:
            raise MalformedMessage("a packed text is cut short, or too long")
        return data.decode()
    except (ValueError, zlib.error) as error:
        raise MalformedMessage(f"this is no packed text: {error}") from error
