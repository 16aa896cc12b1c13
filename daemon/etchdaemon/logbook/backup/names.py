"""Which backups there are, by their names: numbered, because a clock may have been wrong."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

KEPT: Final = 7
_NIGHT: Final = timedelta(hours=3)  # a day of the workshop's ends when nobody is there, in UTC
_NAME: Final = re.compile(r"logbook-(\d{6})-(\d{8}T\d{6})\.sqlite3")
_STAMP: Final = "%Y%m%dT%H%M%S"


@dataclass(frozen=True, slots=True, order=True)
class BackupName:
    """A backup's number, and what the clock said when it was begun."""

    number: int
    at: datetime

    def __str__(self) -> str:
        """Return the file's name."""
        return f"logbook-{self.number:06d}-{self.at.strftime(_STAMP)}.sqlite3"


def read_names(names: Iterable[str]) -> list[BackupName]:
    """Return the backups among `names`, oldest first."""
    return sorted(read for name in names if (read := _read(name)))


def _read(name: str) -> BackupName | None:
    match = _NAME.fullmatch(name)
    try:
        return match and BackupName(int(match[1]), datetime.strptime(match[2], _STAMP))  # noqa: DTZ007 - all are UTC
    except ValueError:  # a day that there is not
        return None


def next_name(kept: Sequence[BackupName], now: datetime) -> BackupName:
    """Return the name of a backup begun at `now`, in UTC without a zone."""
    return BackupName(kept[-1].number + 1 if kept else 1, now.replace(microsecond=0))


def is_due(kept: Sequence[BackupName], now: datetime) -> bool:
    """Return whether no backup is of the day that `now` is in.

    After a jump of the clock one is made too many rather than none.
    """
    return not kept or (kept[-1].at - _NIGHT).date() != (now - _NIGHT).date()


def surplus(kept: Sequence[BackupName]) -> list[BackupName]:
    """Return those that have become too many, oldest first."""
    return list(kept[:-KEPT])
