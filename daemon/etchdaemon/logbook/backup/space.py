"""Free space on the disk of the records, and the sentence about it."""

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from etchdaemon.errors import LogbookUnavailable

# Common practice, no source: a memory card that is nearly full wears fast, and the system's own
# programs need room too. A run of 2000 rows takes 0.3 MB of the logbook.
LOW_BYTES: Final = 300_000_000
LEAST_BYTES: Final = 30_000_000  # below this nothing is started: a run must be recorded to its end
STALE_AFTER_S: Final = 30.0  # a figure this old is none: who looks may hang on the card

_LOW: Final = (
    "Only {free} are free where the records lie. Make room soon: below {least} nothing is started."
)
_UNKNOWN: Final = "How much room is left where the records lie is not known just now."
_TOO_LOW: Final = "Only {free} are free where the records lie: nothing is started. Make room."


def low_sentence(free_bytes: int | None) -> str | None:
    """Return the sentence for free space that is short or not known, else None."""
    if free_bytes is None:
        return _UNKNOWN
    if free_bytes >= LOW_BYTES:
        return None
    words = _LOW if free_bytes >= LEAST_BYTES else _TOO_LOW
    return words.format(free=as_size(free_bytes), least=as_size(LEAST_BYTES))


def as_size(size_bytes: int) -> str:
    """Return a size as people say it."""
    if size_bytes >= 1_000_000_000:
        return f"{size_bytes / 1e9:.1f} GB"
    return (
        f"{size_bytes / 1e6:.0f} MB" if size_bytes >= 10_000_000 else f"{size_bytes / 1e6:.1f} MB"
    )


class Space:
    """The room left in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def free_bytes(self) -> int | None:
        """Return the room left for us, or None when the folder cannot be asked."""
        try:
            found = os.statvfs(self._folder)
        except OSError:
            return None
        return found.f_bavail * found.f_frsize

    def require_room(self) -> None:
        """Raise LogbookUnavailable when there is too little to record a run to its end."""
        free_bytes = self.free_bytes()
        if free_bytes is not None and free_bytes < LEAST_BYTES:
            raise LogbookUnavailable(low_sentence(free_bytes) or "")


class SeenRoom:
    """The room as it was seen last: for the loop, which asks no disk."""

    def __init__(self, space: Space, now_s: Callable[[], float] = time.monotonic) -> None:
        self._space = space
        self._now_s = now_s
        self._seen: tuple[float, int | None] | None = None  # when, and how much

    def look(self) -> None:
        """See how much there is now."""
        self._seen = (self._now_s(), self._space.free_bytes())

    @property
    def free_bytes(self) -> int | None:
        """What was seen; None where it is not known, or was seen too long ago."""
        if self._seen is None:
            return None
        seen_s, free_bytes = self._seen
        return free_bytes if self._now_s() - seen_s <= STALE_AFTER_S else None
