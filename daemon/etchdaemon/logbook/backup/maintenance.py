"""What keeps a logbook beyond its own file: backups of it, and room for it to grow."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from etchdaemon.logbook.backup.backups import FOLDER_NAME, Backups, Lend
from etchdaemon.logbook.backup.space import Space, low_sentence

KEEPING_QUESTIONS: Final = ("backup", "backups")
NOTHING_KEPT: Final[Mapping[str, Any]] = {
    "free_bytes": None,
    "low": None,
    "last_backup_at_utc": None,
    "backup_trouble": None,
}


class Maintenance:
    """The backups and the room of the logbook in `folder`."""

    def __init__(self, folder: Path, lend: Lend, *, utc_now: Callable[[], str]) -> None:
        self.space = Space(folder)
        self._backups = Backups(lend, folder / FOLDER_NAME, utc_now=utc_now)

    def start(self) -> None:
        """Look after both from now on."""
        self._backups.start()

    def close(self) -> None:
        """Leave off, before the logbook itself is closed."""
        self._backups.close()

    def told(self) -> Mapping[str, Any]:
        """Return what the snapshot shows of both; it asks no disk."""
        free_bytes = self._backups.room.free_bytes
        return {
            "free_bytes": free_bytes,
            "low": low_sentence(free_bytes),
            "last_backup_at_utc": self._backups.last_at_utc,
            "backup_trouble": self._backups.trouble,
        }

    def ask(self, question: str) -> Mapping[str, Any]:
        """Begin a backup (`backup`), or tell which there are (`backups`)."""
        return self._backups.begin() if question == "backup" else self._backups.state()
