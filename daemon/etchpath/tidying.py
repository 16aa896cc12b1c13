"""The copy of a file that is sent to the controller: without what neither moves nor burns.

Line ends become single line feeds; blanks, comments, line numbers, the byte-order mark and the
marks of a program's beginning and end (%) go. A line of which nothing stays remains as an empty
one, which nobody sends, so every line keeps its number. Tidying reads as the firmware does: the
first closing bracket ends a comment. What it does not know stays, for the preflight to refuse.
"""

import hashlib
import re
from typing import BinaryIO, Final

BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_CHUNK_BYTES: Final = 256 * 1024
_LONGEST_LINE_BYTES: Final = 64 * 1024  # with its comments

_TIDY: Final = bytes(b for b in range(0x21, 0x7F) if b not in b"();%Nn") + b"\n"
COMMENT: Final = re.compile(rb"\([^)\n]*\)?|;[^\n]*")
_BLANKS: Final = b" \t\x0b\x0c"
# One in a line, of as many digits as the firmware takes; not in the controller's own settings.
_LINE_NUMBER: Final = re.compile(
    rb"^([^$\[Nn\n][^Nn\n]*|)[Nn]\d{1,7}(?:\.\d*)?(?!\d)([^Nn\n]*)$", re.MULTILINE
)
_MARK: Final = b"%"


class Tidying:
    """Reads `file`, tidied; when it has been read to its end the figures are those of the whole.

    Behind a program's second % nothing may stand: a line that does gets the mark in front, by
    which the preflight refuses it.
    """

    def __init__(self, file: BinaryIO) -> None:
        """Read nothing yet."""
        self.original_sha256 = ""
        self.tidied_lines = 0
        self._file = file
        self._hash = hashlib.sha256()
        self._is_first = True
        self._is_in_endless_line = False  # which passes as it stands: no controller takes it
        self._unread = b""  # of the file, the beginning of a line
        self._ready = b""
        self._has_code = self._has_mark = self._has_ended = False
        self._is_at_end = False

    def read(self, size: int) -> bytes:
        """Return up to `size` bytes, none at the end."""
        while len(self._ready) < size and not self._is_at_end:
            self._fill()
        data, self._ready = self._ready[:size], self._ready[size:]
        return data

    def readline(self, size: int) -> bytes:
        """Return up to `size` bytes of a line."""
        while b"\n" not in self._ready and len(self._ready) < size and not self._is_at_end:
            self._fill()
        end = self._ready.find(b"\n") + 1 or len(self._ready)
        return self.read(min(end, size))

    def _fill(self) -> None:
        data = self._file.read(_CHUNK_BYTES)
        self._hash.update(data)
        text = self._unread + data
        if self._is_first:
            self._is_first = False
            self.tidied_lines += text.startswith(BYTE_ORDER_MARK)
            text = text.removeprefix(BYTE_ORDER_MARK)
        self._is_at_end = not data
        if self._is_at_end:
            self.original_sha256 = self._hash.hexdigest()
        if self._is_in_endless_line:
            end = len(text) if self._is_at_end else text.find(b"\n") + 1
            self._is_in_endless_line = not end
            self._ready += text[: end or len(text)]
            text = text[end or len(text) :]
        end = len(text) if self._is_at_end else _end_of_lines(text)
        self._ready += self._tidied(text[:end]) if end else b""
        self._unread = text[end:]
        if len(self._unread) > _LONGEST_LINE_BYTES:
            self._is_in_endless_line = True
            self._ready, self._unread = self._ready + self._unread, b""

    def _tidied(self, text: bytes) -> bytes:
        if b"\r" in text:
            text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        if not self._has_ended and not text.translate(None, _TIDY):
            self._has_code = self._has_code or not text.isspace()
            return text
        tidy = COMMENT.sub(b"", text).translate(None, _BLANKS)
        if b"N" in tidy or b"n" in tidy:
            tidy = _LINE_NUMBER.sub(rb"\1\2", tidy)
        lines = tidy.split(b"\n")
        if self._has_ended or _MARK in tidy:
            lines = [self._without_mark(line) for line in lines]
        elif not self._has_code:
            self._has_code = any(lines)
        self.tidied_lines += sum(map(bytes.__ne__, lines, text.split(b"\n")))
        return b"\n".join(lines)

    def _without_mark(self, line: bytes) -> bytes:
        """Return a line without the mark that stands alone in it."""
        if not line or line == _MARK:
            self._has_ended |= bool(line) and (self._has_mark or self._has_code)
            self._has_mark |= bool(line)
            return b""
        self._has_code = True
        is_behind = self._has_ended and not line.startswith(_MARK)
        return _MARK + line if is_behind else line


def _end_of_lines(text: bytes) -> int:
    """Return where the last whole line ends; the line feed behind a return may be yet to come."""
    return max(text.rfind(b"\n"), text.rfind(b"\r", 0, -1)) + 1
