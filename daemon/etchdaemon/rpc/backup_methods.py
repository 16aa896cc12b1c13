"""What may be asked of those who keep the logbook: its `backup.maintenance` answers."""

from typing import Final

from etchdaemon.rpc.method import Method, Right

KEEPING_METHODS: Final = (
    Method(
        "backup",
        Right.OPERATE,
        "Begin a backup of the logbook, unless one is under way; answers as `backups` does.",
    ),
    Method(
        "backups",
        Right.OBSERVE,
        "The backups that are kept, and the `share` done of one under way or its `trouble`.",
    ),
)
