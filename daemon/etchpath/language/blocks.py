"""A file in blocks of whole lines, so that any size needs the same memory."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Protocol

BLOCK_BYTES: Final = 256 * 1024  # a mebibyte is slower and takes 60 MB more
KEPT_OF_ENDLESS_LINE_BYTES: Final = 4096  # more than any controller takes, so it is still too long

_LONE_RETURN: Final = re.compile(rb"\r(?!\n)")


class Source(Protocol):
    """What blocks are read from: any file open for reading bytes."""

    def read(self, size: int, /) -> bytes:
        """Return up to `size` bytes, none at the end."""
        ...

    def readline(self, size: int, /) -> bytes:
        """Return up to `size` bytes of a line."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Some whole lines; each ends with a line feed, which a lone carriage return has become.

    `first_line` counts from 1, `first_byte` from 0. `size_bytes` is what the lines take in the
    file: more than `text` holds where an endless line was cut short.
    """

    text: bytes
    first_line: int
    first_byte: int
    size_bytes: int
    is_cut_short: bool = False  # the file ended within the last line


class Blocks:
    """Reads `file` once, from where it stands, and counts lines and bytes."""

    def __init__(self, file: Source, *, block_bytes: int = BLOCK_BYTES) -> None:
        """Read nothing yet."""
        self._file = file
        self._block_bytes = block_bytes
        self._rest = b""
        self._line = 1
        self._byte = 0

    def __iter__(self) -> Iterator[Block]:
        """Yield the blocks in order."""
        while data := self._file.read(self._block_bytes):
            text = self._rest + data
            end = max(text.rfind(b"\n"), text.rfind(b"\r", 0, -1)) + 1
            if end:
                self._rest = text[end:]
                yield self._block(_LONE_RETURN.sub(b"\n", text[:end]), end)
            elif len(text) > max(self._block_bytes, KEPT_OF_ENDLESS_LINE_BYTES):
                yield self._endless_line(text)
            else:
                self._rest = text
        if self._rest:
            yield self._last()

    def _last(self) -> Block:
        text, self._rest = self._rest, b""
        if text.endswith(b"\r"):
            return self._block(text[:-1] + b"\n", len(text))
        return self._block(text + b"\n", len(text), is_cut_short=True)

    def _endless_line(self, text: bytes) -> Block:
        size, is_cut_short = len(text), False
        while True:
            data = self._file.readline(self._block_bytes)
            size += len(data)
            if data.endswith(b"\n") or not data:
                is_cut_short = not data
                break
        self._rest = b""
        kept = text[:KEPT_OF_ENDLESS_LINE_BYTES].replace(b"\r", b" ")
        return self._block(kept + b"\n", size, is_cut_short=is_cut_short)

    def _block(self, text: bytes, size_bytes: int, *, is_cut_short: bool = False) -> Block:
        block = Block(
            text=text,
            first_line=self._line,
            first_byte=self._byte,
            size_bytes=size_bytes,
            is_cut_short=is_cut_short,
        )
        self._line += text.count(b"\n")
        self._byte += size_bytes
        return block
