"""The lock on a daemon's folder of records: two writers would make one logbook of neither."""

import fcntl
import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from etchdaemon.errors import StateTaken

LOCK_NAME: Final = "lock"

_log = logging.getLogger(__name__)


@contextmanager
def state_lock(folder: Path) -> Iterator[None]:
    """Hold `folder`; raise StateTaken where somebody has it.

    The kernel lets go of it with the process. A folder that cannot be written, for which there is
    no lock yet, is taken without one: then nothing can be damaged either.
    """
    try:
        file = _open(folder / LOCK_NAME)
    except OSError as error:
        _log.warning("%s cannot be locked: %s.", folder, error.strerror)
        yield
        return
    try:
        _take(file, folder)
        yield
    finally:
        os.close(file)


def _open(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError:
        return os.open(path, os.O_RDONLY | os.O_CLOEXEC)


def _take(file: int, folder: Path) -> None:
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(file, 20, 0).decode("ascii", "replace").strip()
        raise StateTaken(
            f"{folder} is in use by another process ({holder or 'unknown'}): the daemon of this"
            " machine, most likely. Stop it first."
        ) from None
    with suppress(OSError):  # who holds it is only for people
        os.ftruncate(file, 0)
        os.pwrite(file, f"{os.getpid()}\n".encode(), 0)
