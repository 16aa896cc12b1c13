"""Files put in place whole or not at all, and what a card that takes nothing is told as."""

import errno
import os
import re
from collections.abc import Callable
from contextlib import suppress
from hashlib import file_digest
from pathlib import Path
from typing import Final

_NO_ROOM: Final = "there is no room left in the box's storage; make room and try again"
_READ_ONLY: Final = (
    "the box's storage can only be read; it may be worn out: switch the box off and on, and copy"
    " its records"
)
UNFINISHED: Final = re.compile(r".+\.\d+-[0-9a-f]{6}")  # what a power cut leaves of write_whole
_FAULTY: Final = "the box's storage reports a fault"
_CAUSES: Final = {
    errno.ENOSPC: _NO_ROOM,
    errno.EDQUOT: _NO_ROOM,
    errno.EFBIG: _NO_ROOM,
    errno.EROFS: _READ_ONLY,
    errno.EIO: _FAULTY,
}
# By SQLite's names for what went wrong (https://sqlite.org/rescode.html).
_CAUSES_IN_SQLITE: Final = {
    "SQLITE_FULL": _NO_ROOM,
    "SQLITE_READONLY": _READ_ONLY,
    "SQLITE_IOERR": _FAULTY,
}


def fault_of_card(error: BaseException) -> str | None:
    """Return why the card did not take something, as the end of a sentence; None: not its fault.

    It looks behind errors of ours at what they were raised from.
    """
    if isinstance(error, OSError) and error.errno in _CAUSES:
        return _CAUSES[error.errno]
    name = "_".join((getattr(error, "sqlite_errorname", None) or "").split("_")[:2])
    if name in _CAUSES_IN_SQLITE:
        return _CAUSES_IN_SQLITE[name]
    return None if error.__cause__ is None else fault_of_card(error.__cause__)


def write_whole(path: Path, data: bytes | str) -> None:
    """Put `data` at `path` in one step; whatever is raised, the old file stays and no half one.

    What is no file (a pipe, a terminal) gets it as it is.
    """
    data = data.encode() if isinstance(data, str) else data
    if path.exists() and not path.is_file():
        path.write_bytes(data)
        return
    unfinished = path.with_name(f"{path.name}.{os.getpid()}-{os.urandom(3).hex()}")
    try:
        unfinished.write_bytes(data)
        unfinished.replace(path)
    finally:
        with suppress(OSError):
            unfinished.unlink()


def file_sha256(path: Path) -> str:
    """Return a file's SHA-256 in hexadecimal digits; raise OSError where it cannot be read."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def settle(path: Path, *, fsync: Callable[[int], None] = os.fsync) -> None:
    """Have a file's contents, or a folder's entries, on disk before anything relies on them."""
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fsync(descriptor)
    finally:
        os.close(descriptor)
