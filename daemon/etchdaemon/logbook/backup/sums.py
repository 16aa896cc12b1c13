"""The SHA-256 beside a backup, as `sha256sum` writes it: whether a letter in it has changed.

It is on the disk before the backup has its name, and goes after it. So a backup without one is an
older program's, or was carried elsewhere without it; after a power cut there is none.
"""

import os
import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchdaemon.errors import BackupFailed
from etchwire.storing import file_sha256, settle

SUFFIX: Final = ".sha256"
# https://www.gnu.org/software/coreutils/manual/html_node/md5sum-invocation.html
_LINE: Final = re.compile(r"\\?([0-9a-f]{64}) [ *]")


def sum_path(backup: Path) -> Path:
    """Return where the sum of `backup` lies."""
    return backup.with_name(f"{backup.name}{SUFFIX}")


def put_in_place(arriving: Path, target: Path, *, fsync: Callable[[int], None] = os.fsync) -> None:
    """Give a copy that was checked its name, after its sum; whatever raises, both are gone."""
    try:
        sum_path(target).write_text(f"{file_sha256(arriving)}  {target.name}\n", encoding="utf-8")
        settle(sum_path(target), fsync=fsync)
        settle(target.parent, fsync=fsync)
        arriving.rename(target)
        settle(target.parent, fsync=fsync)
    except BaseException:
        remove(target)
        raise


def is_as_written(copy: Path, *, called: Path | None = None) -> bool:
    """Return whether `copy` is, letter by letter, what the sum beside it says; False without one.

    Of a copy made for a while the sum lies beside what it was `called`. Raise BackupFailed, with
    what to do, for a sum that it does not have.
    """
    name = called or copy
    sums = sum_path(name)
    try:
        said = _LINE.match(sums.read_text(encoding="utf-8", errors="replace"))
    except FileNotFoundError:
        return False
    otherwise = f"Take another backup; or remove {sums.name}, to restore it as it is."
    if said is None:
        raise BackupFailed(
            f"Whether {name} is as it was written cannot be told: there is no SHA-256 in"
            f" {sums.name}. {otherwise}"
        )
    if said[1] != file_sha256(copy):
        raise BackupFailed(
            f"{name} has changed since it was written: its SHA-256 is not that in {sums.name}."
            f" {otherwise}"
        )
    return True


def remove(backup: Path) -> None:
    """Remove a backup, and then its sum."""
    for path in (backup, sum_path(backup)):
        with suppress(OSError):  # a card that can only be read, say
            path.unlink()


def lone_sums(folder: Path) -> Iterable[Path]:
    """Return the sums without a backup, as a power cut leaves them."""
    return (path for path in folder.glob(f"*{SUFFIX}") if not path.with_suffix("").exists())
