"""The lock on a daemon's folder of records: two writers would make one logbook of neither."""

import fcntl
import logging
import os
from contextlib import suppress
from pathlib import Path
from typing import Final, Self

from etchdaemon.errors import StateTaken

LOCK_NAME: Final = "lock"

_log = logging.getLogger(__name__)


class StateLock:
    """Holds a folder as long as it is entered; the kernel lets go of it with the process.

    A folder that cannot be written, for which there is no lock yet, is taken without one: then
    nothing can be damaged either.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / LOCK_NAME
        self._file: int | None = None

    def __enter__(self) -> Self:
        """Take the folder; raise StateTaken when somebody has it."""
        try:
            self._file = self._open()
        except OSError as error:
            _log.warning("%s cannot be locked: %s.", self._path.parent, error.strerror)
            return self
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(self._file, 20, 0).decode("ascii", "replace").strip()
            os.close(self._file)
            raise StateTaken(
                f"{self._path.parent} is in use by another process ({holder or 'unknown'}): the"
                " daemon of this machine, most likely. Stop it first."
            ) from None
        with suppress(OSError):  # who holds it is only for people
            os.ftruncate(self._file, 0)
            os.pwrite(self._file, f"{os.getpid()}\n".encode(), 0)
        return self

    def _open(self) -> int:
        try:
            return os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError:
            return os.open(self._path, os.O_RDONLY | os.O_CLOEXEC)

    def __exit__(self, *_error: object) -> None:
        """Let go of the folder."""
        if self._file is not None:
            os.close(self._file)
