"""Bytes into JSON objects and back: one object a line, both ways, no socket.

Python's own reader takes NaN, lets 1e999 become infinity and keeps half of a surrogate pair;
none of them is JSON that another program must take, so none passes here.
"""

import json
from collections.abc import Iterator, Mapping
from typing import Any, Final

from etchwire.errors import LineTooLong, MalformedMessage

LINE_LIMIT_BYTES: Final = 64 * 1024  # the line feed included
DEEPEST_LEVELS: Final = 32


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


def decode(line: bytes) -> dict[str, Any]:
    """Return the JSON object in `line`; raise MalformedMessage for anything else."""
    try:
        value = json.loads(line.decode("utf-8"), parse_constant=_refuse, parse_float=_finite)
        if b"\\u" in line:
            json.dumps(value, ensure_ascii=False).encode()
    except RecursionError:
        raise MalformedMessage("the message is nested too deeply") from None
    except UnicodeError:
        raise MalformedMessage("the message is not text in UTF-8") from None
    except ValueError as error:
        raise MalformedMessage(f"the message is not JSON: {error}") from None
    if not isinstance(value, dict):
        raise MalformedMessage("a message must be one JSON object")
    _refuse_deep(value)
    return value


def encode(message: Mapping[str, Any]) -> bytes:
    """Return `message` as the line to send; raise MalformedMessage for what JSON cannot say."""
    try:
        text = json.dumps(message, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        line = text.encode() + b"\n"
    except (TypeError, ValueError, RecursionError) as error:
        raise MalformedMessage(f"this cannot be sent as JSON: {error}") from error
    if len(line) > LINE_LIMIT_BYTES:
        raise LineTooLong(f"a message of {len(line)} bytes does not fit the wire")
    return line


def _refuse(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _finite(text: str) -> float:
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise ValueError(f"{text[:20]} is more than a number can hold")
    return value


def _refuse_deep(value: object) -> None:
    level = [value]
    for _ in range(DEEPEST_LEVELS):
        level = [inner for outer in level for inner in _parts(outer)]
        if not level:
            return
    raise MalformedMessage(f"the message is nested more than {DEEPEST_LEVELS} deep")


def _parts(value: object) -> list[object]:
    if isinstance(value, dict):
        return list(value.values())
    return value if isinstance(value, list) else []
