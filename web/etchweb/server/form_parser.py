"""How the page reads its forms: as Werkzeug does, with the closing boundary in one piece.

Werkzeug reads a form 64 KiB at a time. Where such a read ends between the two hyphens behind the
closing boundary (`--boundary--`, RFC 2046, 5.1.1), the last field gets the carriage return that
belongs to the boundary (seen with 3.1.9). It happens at one length of form in 65 536: a photo came
with its tick, and was sent back for the tick that was missing.
"""

from io import RawIOBase
from typing import IO, Final, cast

from flask import Request
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.formparser import FormDataParser

END_BYTES: Final = 256  # more than the closing boundary, which has 76 at most


class EndInOnePiece(RawIOBase):
    """A stream of which no read ends within its last `END_BYTES`, unless at its end."""

    def __init__(self, stream: IO[bytes], length_bytes: int) -> None:
        self._stream = stream
        self._left_bytes = length_bytes

    def read(self, size: int = -1) -> bytes:
        """Return up to `size` bytes, and all that is left where `size` is negative."""
        if 0 < self._left_bytes - size < END_BYTES < size:
            size = self._left_bytes - END_BYTES
        data = self._stream.read(size)
        self._left_bytes -= len(data)
        return data


class FormParser(FormDataParser):
    """Werkzeug's, but for the closing boundary."""

    def parse(
        self,
        stream: IO[bytes],
        mimetype: str,
        content_length: int | None,
        options: dict[str, str] | None = None,
    ) -> tuple[IO[bytes], MultiDict[str, str], MultiDict[str, FileStorage]]:
        """Return what is left of `stream`, the fields and the files."""
        whole = cast(IO[bytes], EndInOnePiece(stream, content_length or 0))
        return super().parse(whole, mimetype, content_length, options)


class PageRequest(Request):
    """Flask's, but for how it reads a form."""

    form_data_parser_class = FormParser
