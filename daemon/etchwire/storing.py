"""Files put in place whole or not at all, and what a card that takes nothing is told as."""

import errno
import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

_NO_ROOM: Final = "there is no room left on the memory card; make room and try again"
_READ_ONLY: Final = (
    "the memory card can only be read; it may be worn out: switch the box off and on, and copy its"
    " records"
)
_CAUSES: Final = {
    errno.ENOSPC: _NO_ROOM,
    errno.EDQUOT: _NO_ROOM,
    errno.EFBIG: _NO_ROOM,
    errno.EROFS: _READ_ONLY,
    errno.EIO: "the memory card reports a fault",
}


def fault_of_card(error: BaseException) -> str | None:
    """Return why the card did not take something, as the end of a sentence; None: not its fault."""
    return _CAUSES.get(error.errno or 0) if isinstance(error, OSError) else None


def write_whole(path: Path, data: bytes | str) -> None:
    """Put `data` at `path` in one step; whatever is raised, the old file stays and no half one."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}-{os.urandom(3).hex()}")
    try:
        unfinished.write_bytes(data.encode() if isinstance(data, str) else data)
        unfinished.replace(path)
    finally:
        with suppress(OSError):
            unfinished.unlink()


def settle(path: Path, *, fsync: Callable[[int], None] = os.fsync) -> None:
    """Have a file's contents, or a folder's entries, on disk before anything relies on them."""
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fsync(descriptor)
    finally:
        os.close(descriptor)
