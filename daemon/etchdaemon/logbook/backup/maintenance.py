"""What keeps a logbook beyond its own file: backups of it, and room for it to grow."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

from etchdaemon.logbook.backup.backups import FOLDER_NAME, Backups, Lend
from etchdaemon.logbook.backup.space import Space, low_sentence
from etchwire.calls.backup import Backup, BackupState
from etchwire.calls.call import Call
from etchwire.calls.snapshot import StorageView

NOTHING_KEPT: Final = StorageView(
    free_bytes=None, low=None, last_backup_at_utc=None, backup_trouble=None
)


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

    def storage_view(self) -> StorageView:
        """Return what the snapshot shows of both; it asks no disk."""
        free_bytes = self._backups.room.free_bytes
        return StorageView(
            free_bytes=free_bytes,
            low=low_sentence(free_bytes),
            last_backup_at_utc=self._backups.last_at_utc,
            backup_trouble=self._backups.trouble,
        )

    def ask(self, call: Call[BackupState]) -> BackupState:
        """Begin a backup, or tell which there are."""
        return self._backups.begin() if isinstance(call, Backup) else self._backups.state()
