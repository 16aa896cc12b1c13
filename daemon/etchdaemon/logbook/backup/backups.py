"""The backups of one logbook: one every day and whenever asked, seven kept."""

import logging
import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from etchdaemon.errors import BackupFailed, EtchdaemonError
from etchdaemon.logbook.backup.backup import copy_logbook
from etchdaemon.logbook.backup.names import BackupName, is_due, next_name, read_names, surplus
from etchdaemon.logbook.backup.space import LEAST_BYTES, SeenRoom, Space, as_size, low_sentence
from etchdaemon.logbook.backup.sums import lone_sums, remove
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.schema.opening import cause
from etchwire.calls.backup import BackupState, KeptBackup
from etchwire.calls.snapshot import StorageView

FOLDER_NAME: Final = "backups"
FIRST_AFTER_S: Final = 600.0  # a clock without a battery is set after that time
RETRY_AFTER_S: Final = 3600.0
LOOK_EVERY_S: Final = 5.0
PAUSE_S: Final = 0.02  # between steps: the etch's own writes come first
NOTHING_KEPT: Final = StorageView(
    free_bytes=None, low=None, last_backup_at_utc=None, backup_trouble=None
)

_log = logging.getLogger(__name__)

Lend = Callable[[], LogbookConnection]


class _Ended(Exception):
    pass


class Backups:
    """Makes them in a thread of its own, out of the logbook's one connection, which `lend` lends.

    That thread and the writer's use it by turns; a write waits for one step at most. It also
    looks how much room there is, every few seconds and while it copies.
    """

    def __init__(
        self,
        lend: Lend,
        folder: Path,
        *,
        utc_now: Callable[[], str],
        first_after_s: float = FIRST_AFTER_S,
    ) -> None:
        self._lend = lend
        self._folder = folder
        self._utc_now = utc_now
        self.space = Space(folder.parent)
        self.room = SeenRoom(self.space)
        self._changed = threading.Condition()
        self._is_ending = False
        self._is_wanted = False
        self._share: float | None = None
        self._trouble: str | None = None
        self._kept: list[BackupName] = []
        self._not_before_s = time.monotonic() + first_after_s
        self._thread = threading.Thread(target=self._run, name="backups")

    def start(self) -> None:
        """Begin to look after them; what a killed daemon left half copied is cleared away."""
        with suppress(OSError):
            self._clear_leftovers()
        self._look()
        self._thread.start()

    def close(self) -> None:
        """End; a backup under way is given up, and leaves nothing behind."""
        with self._changed:
            self._is_ending = True
            self._changed.notify()
        self._thread.join()

    @property
    def trouble(self) -> str | None:
        """Why the last backup failed, or None."""
        return self._trouble

    @property
    def last_at_utc(self) -> str | None:
        """When the newest backup was begun."""
        kept = self._kept
        return f"{kept[-1].at.isoformat()}Z" if kept else None

    @property
    def storage(self) -> StorageView:
        """What the snapshot shows of backups and room; it asks no disk."""
        free_bytes = self.room.free_bytes
        return StorageView(
            free_bytes=free_bytes,
            low=low_sentence(free_bytes),
            last_backup_at_utc=self.last_at_utc,
            backup_trouble=self.trouble,
        )

    def begin(self) -> BackupState:
        """Have a backup made now, unless one is under way; return at once, as `state` does."""
        with self._changed:
            if self._share is None:
                self._is_wanted, self._share, self._trouble = True, 0.0, None
                self._changed.notify()
        return self.state()

    def state(self) -> BackupState:
        """Return which there are, newest first, and how far one under way has come."""
        share, trouble = self._share, self._trouble  # first: what is over is among those kept
        return BackupState(
            folder=str(self._folder.resolve()),
            kept=tuple(
                KeptBackup(name=str(name), at_utc=f"{name.at.isoformat()}Z")
                for name in reversed(self._kept)
            ),
            share=share,
            trouble=trouble,
        )

    def _run(self) -> None:
        while not self._is_ending:
            self._look()
            if self._is_wanted or self._is_due():
                self._is_wanted = False
                self._make()
            left_s = self._not_before_s - time.monotonic()
            wait_s = min(left_s, LOOK_EVERY_S) if left_s > 0 else LOOK_EVERY_S
            with self._changed:
                self._changed.wait_for(lambda: self._is_wanted or self._is_ending, wait_s)

    def _is_due(self) -> bool:
        return time.monotonic() >= self._not_before_s and is_due(self._kept, self._now())

    def _look(self) -> None:
        self.room.look()
        with suppress(OSError):
            self._kept = read_names(path.name for path in self._folder.iterdir())

    def _make(self) -> None:
        self._share, trouble = 0.0, None
        try:
            self._copy(next_name(self._kept, self._now()))
        except _Ended:
            trouble = "The control program ended while a backup was made."
        except (EtchdaemonError, OSError, sqlite3.Error) as error:
            is_sentence = isinstance(error, EtchdaemonError)
            trouble = str(error) if is_sentence else f"No backup was made: {cause(error)}."
            self._not_before_s = time.monotonic() + RETRY_AFTER_S
            _log.error(trouble)
        self._look()
        self._trouble, self._share = trouble, None

    def _copy(self, name: BackupName) -> None:
        book = self._lend()
        self._folder.mkdir(exist_ok=True)
        self._clear_leftovers()
        self._make_room(book)
        made = copy_logbook(book, self._folder / str(name), between=self._go_on)
        _log.info("a backup of %d runs was made: %s", made.runs, made.path.name)
        for old in surplus([*self._kept, name]):
            remove(self._folder / str(old))

    def _clear_leftovers(self) -> None:
        for leftover in (*self._folder.glob(".arriving-*"), *lone_sums(self._folder)):
            leftover.unlink()

    def _make_room(self, book: LogbookConnection) -> None:
        """Remove the oldest, all but one, until another fits; raise BackupFailed."""
        with book.turn:
            (pages,), (page_bytes,) = (
                book.execute(f"PRAGMA {what}").fetchone() for what in ("page_count", "page_size")
            )
        needed_bytes = pages * page_bytes + LEAST_BYTES
        old = self._kept[:-1]
        while (free_bytes := self.space.free_bytes()) is not None and free_bytes < needed_bytes:
            if not old:
                raise BackupFailed(
                    f"No backup was made: it needs {as_size(needed_bytes)}, and"
                    f" {as_size(free_bytes)} are free. Make room."
                )
            remove(self._folder / str(old.pop(0)))

    def _go_on(self, share: float) -> None:
        self._share = share
        self.room.look()
        with self._changed:
            self._changed.wait_for(lambda: self._is_ending, PAUSE_S)
        if self._is_ending:
            raise _Ended

    def _now(self) -> datetime:
        return datetime.fromisoformat(self._utc_now()).astimezone(UTC).replace(tzinfo=None)
