"""What may be asked about the logbook's backups."""

from typing import Final

from etchwire.calls.call import Call, Question
from etchwire.wire_value import WireValue


class KeptBackup(WireValue):
    """A backup, by its file's name."""

    name: str
    at_utc: str


class BackupState(WireValue):
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
