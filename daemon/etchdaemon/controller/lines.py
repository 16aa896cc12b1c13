"""What a line may hold on its way to the controller."""

import re
from typing import Final

from etchdaemon.errors import UnfitLine

# Printable ASCII without the bytes that are commands wherever they stand (! ? ~), without
# comments and block delete, and without blanks, which only cost time on the line.
PLAIN_BYTES: Final = bytes(sorted(set(range(0x21, 0x7F)) - set(b"!?~();/%")))
_DWELL: Final = re.compile(rb"G0*4(?![0-9.]).*?P([0-9]*\.?[0-9]+)")
_NOT_SENT: Final = re.compile(rb"\([^)]*\)|[;(].*|[ \t\r]")


def is_plain(data: bytes) -> bool:
    """Return whether every byte of `data` (line feeds aside) may be sent as it stands."""
    return not data.translate(None, PLAIN_BYTES + b"\n")


def significant(line: bytes) -> bytes:
    """Return `line` without comments and blanks, possibly nothing at all.

    Raise UnfitLine for a byte that may not reach the controller: in a text of ours a question
    mark is a typing error, on the line it is a command.
    """
    rest = _NOT_SENT.sub(b"", line)
    if not is_plain(rest):
        found = rest.translate(None, PLAIN_BYTES)[:1]
        raise UnfitLine(f"the character {found.decode('latin-1')!r} may not be sent")
    return rest


def dwell_s(line: bytes) -> float:
    """Return how long `line` lets the machine rest; meanwhile it says that it is idle."""
    found = _DWELL.search(line)
    return float(found[1]) if found else 0.0
