"""What may be asked about the logbook's backups."""

from dataclasses import dataclass
from typing import Final

from etchwire.calls.call import Call, Question


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptBackup:
    """A backup, by its file's name."""

    name: str
    at_utc: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupState:
    """The backups in `folder`, newest first, and the `share` done of one under way."""

    folder: str
    kept: tuple[KeptBackup, ...]
    share: float | None
    trouble: str | None


class Backup(Call[BackupState]):
    """Begin a backup of the logbook, unless one is under way; answers as `backups` does."""


class Backups(Question[BackupState]):
    """The backups that are kept, and the `share` done of one under way or its `trouble`."""


BACKUP_CALLS: Final = (Backup, Backups)
