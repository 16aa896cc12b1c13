"""Bytes into JSON objects and back: one object a line, both ways, no socket."""

import json
from collections.abc import Iterator, Mapping
from typing import Final

from etchwire.errors import LineTooLong, MalformedMessage
from etchwire.transport.json_text import read_json

LINE_LIMIT_BYTES: Final = 64 * 1024  # the line feed included


class LineBuffer:
    """Cuts what arrives into lines; every way of cutting the bytes gives the same lines.

    A line over the limit ends it for good: where the next one starts would be a guess.
    """

    def __init__(self) -> None:
        self._unread = bytearray()
        self._is_spoilt = False

    def feed_bytes(self, data: bytes) -> None:
        """Keep `data`; ask `lines` what it held."""
        if not self._is_spoilt:
            self._unread += data

    def lines(self) -> Iterator[bytes]:
        """Yield each line completed so far, without its line feed; raise LineTooLong."""
        while not self._is_spoilt:
            end = self._unread.find(b"\n", 0, LINE_LIMIT_BYTES)
            if end < 0:
                break
            line = bytes(self._unread[:end])
            del self._unread[: end + 1]
            if line.strip():
                yield line
        if self._is_spoilt or len(self._unread) >= LINE_LIMIT_BYTES:
            self._is_spoilt = True
            self._unread.clear()
            raise LineTooLong(f"a line is longer than {LINE_LIMIT_BYTES} bytes")

    @property
    def has_unfinished_line(self) -> bool:
        """Whether bytes of a line have arrived whose end has not."""
        return bool(self._unread)


def decode(line: bytes) -> dict[str, object]:
    """Return the JSON object in `line`; raise MalformedMessage for anything else."""
    value = read_json(line)
    if not isinstance(value, dict):
        raise MalformedMessage("a message must be one JSON object")
    return value


def encode(message: Mapping[str, object]) -> bytes:
    """Return `message` as the line to send; raise MalformedMessage for what JSON cannot say."""
    try:
        text = json.dumps(message, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        line = text.encode() + b"\n"
    except (TypeError, ValueError, RecursionError) as error:
        raise MalformedMessage(f"this cannot be sent as JSON: {error}") from error
    if len(line) > LINE_LIMIT_BYTES:
        raise LineTooLong(f"a message of {len(line)} bytes does not fit the wire")
    return line
