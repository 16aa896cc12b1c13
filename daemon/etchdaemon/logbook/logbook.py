"""The logbook as the daemon sees it: records go in, runs come out."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import Final, Self, TypeVar, cast

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.backup.backups import FOLDER_NAME, NOTHING_KEPT, Backups
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.read.queries import answer
from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.logbook.write import entries
from etchdaemon.logbook.write.catalogue_commands import entry_of, practice_catalogue
from etchdaemon.logbook.write.writer import Opener, Writer
from etchdaemon.ports import RunEnd, RunNote
from etchdaemon.run.position_epoch import Ends, Origin
from etchwire.calls.backup import BACKUP_CALLS, Backup
from etchwire.calls.call import Call
from etchwire.calls.catalogue import Note, Noted
from etchwire.calls.history import RunRow
from etchwire.calls.snapshot import StorageView
from etchwire.sheet import Sheet
from etchwire.transport.json_text import JsonTable

CONFIRM_TIMEOUT_S: Final = 5.0

_Answer = TypeVar("_Answer")
_Value = TypeVar("_Value")
_WhenTooLate = Callable[["Future[int | None]"], None]


class Logbook:
    """Implements `ports.Records` for the loop and `ports.History` for those who ask.

    `is_clock_synchronised` tells whether the wall clock can be believed; None when unknown. With a
    `folder`, backups are kept in it and its room is watched.
    """

    def __init__(
        self,
        opener: Opener,
        *,
        utc_now: Callable[[], str],
        is_clock_synchronised: Callable[[], bool | None] = lambda: None,
        confirm_timeout_s: float = CONFIRM_TIMEOUT_S,
        folder: Path | None = None,
    ) -> None:
        self._writer = Writer(opener, utc_now=utc_now)
        self._backups: Backups | None = None
        if folder is not None:
            self._backups = Backups(self._lend, folder / FOLDER_NAME, utc_now=utc_now)
        self._utc_now = utc_now
        self._is_clock_synchronised = is_clock_synchronised
        self.confirm_timeout_s = confirm_timeout_s

    @classmethod
    def at(
        cls,
        path: Path,
        *,
        utc_now: Callable[[], str],
        connect: Callable[..., LogbookConnection] = LogbookConnection,
        is_clock_synchronised: Callable[[], bool | None] = lambda: None,
        confirm_timeout_s: float = CONFIRM_TIMEOUT_S,
    ) -> Self:
        """Return the logbook in the file at `path`."""
        return cls(
            lambda: open_logbook(path, at_utc=utc_now(), connect=connect),
            utc_now=utc_now,
            is_clock_synchronised=is_clock_synchronised,
            confirm_timeout_s=confirm_timeout_s,
            folder=path.parent,
        )

    def start(self) -> None:
        """Open the file, or find that it cannot be opened now: then `trouble` says why."""
        self._writer.start()
        if self._backups:
            self._backups.start()

    def close(self) -> None:
        """Write what waits and let go of the file."""
        if self._backups:
            self._backups.close()
        self._writer.close()

    def __enter__(self) -> Self:
        """Start; leaving closes."""
        self.start()
        return self

    def __exit__(self, *_error: object) -> None:
        """Close."""
        self.close()

    @property
    def trouble(self) -> str | None:
        """A sentence while nothing can be written, else None."""
        return self._writer.trouble

    @property
    def storage(self) -> StorageView:
        """Free space and backups; see `ports.Records`."""
        return NOTHING_KEPT if self._backups is None else self._backups.storage

    def start_run(
        self,
        *,
        sheet_json: str,
        started_at_utc: str,
        notes: JsonTable,
        continues_run: int | None = None,
    ) -> int:
        """Write a run's start and return its number once it is on disk; see `ports.Records`.

        A start that reaches the disk only after it was given up is ended there as failed: nothing
        was etched.
        """
        if self._backups:
            self._backups.space.require_room()
        entry = partial(
            entries.write_start,
            sheet=Sheet.from_json(sheet_json),
            started_at_utc=started_at_utc,
            is_clock_synchronised=self._is_clock_synchronised(),
            notes=notes,
            continues_run=continues_run,
        )
        number = self._confirmed(entry, when_too_late=self._end_late_start)
        if number is None:
            raise LogbookUnavailable("The logbook gave the run no number.")
        return number

    def note_event(self, note: RunNote) -> None:
        """Queue an event, first in line; see `ports.Records`."""
        self._writer.write(partial(entries.write_event, note=note))

    def confirm_event(self, note: RunNote) -> None:
        """Write an event and return once it is on disk; see `ports.Records`."""
        self._confirmed(partial(entries.write_event, note=note))

    def note_rows(self, run: int, rows: Sequence[RunRow]) -> None:
        """Queue rows' actuals; see `ports.Records`."""
        self._writer.write_rows([partial(entries.write_row, run=run, row=row) for row in rows])

    def end_run(self, end: RunEnd) -> None:
        """Queue a run's end; see `ports.Records`."""
        self._writer.write(partial(entries.write_end, end=end))
        self._writer.write_rows([partial(entries.write_sums, run=end.run)])

    def ask(self, call: Call[_Answer]) -> _Answer:
        """Answer what is asked of runs, the catalogue or backups; see `ports.History`."""
        if isinstance(call, BACKUP_CALLS):
            if self._backups is None:
                raise LogbookUnavailable("No backups are kept of this logbook.")
            is_request = isinstance(call, Backup)
            state = self._backups.begin() if is_request else self._backups.state()
            return cast(_Answer, state)
        return self.recall(partial(answer, call=call))

    def recall(self, query: Callable[[LogbookConnection], _Answer]) -> _Answer:
        """Return what `query` reads from the logbook, such as those of `read.recall`."""
        return self._outcome(self._writer.read(query))

    def note(self, call: Note) -> Noted:
        """Carry out one of the catalogue's notes; return its row's number once on disk.

        Raise CommandRefused with a sentence, or LogbookUnavailable.
        """
        return Noted(id=self._confirmed(entry_of(call, at_utc=self._utc_now())))

    def note_proof(self, name: str, at_utc: str) -> None:
        """Queue that the safety contact `name` was seen to open and to close again."""
        self._writer.write(partial(entries.write_proof, at_utc=at_utc, name=name))

    def note_pins(self, inputs_json: str) -> None:
        """Queue at which pins the inputs are read from now on."""
        at_utc = self._utc_now()
        self._writer.write(partial(entries.write_pins, at_utc=at_utc, inputs_json=inputs_json))

    def note_relay_test(self, at_utc: str, *, has_passed: bool) -> None:
        """Queue how a test of the safety relay ended."""
        self._writer.write(partial(entries.write_relay_test, at_utc=at_utc, has_passed=has_passed))

    def note_epoch(self, because: str, *, at_utc: str) -> None:
        """Queue that another position epoch has begun; see `ports.Records`."""
        self._writer.write(partial(entries.write_epoch, at_utc=at_utc, because=because))

    def note_loaded(self, gcode_sha256: str | None) -> None:
        """Queue which job lies on the bench from now on; see `ports.Records`."""
        self._writer.write(partial(entries.write_loaded, gcode_sha256=gcode_sha256))

    def note_origin(self, origin: Origin, ends_mm: Ends | None, *, at_utc: str) -> None:
        """Queue that the origin was set; see `ports.Records`."""
        entry = partial(entries.write_origin, at_utc=at_utc, origin=origin, ends_mm=ends_mm)
        self._writer.write(entry)

    def introduce_practice(self) -> None:
        """Queue what a practice session begins with; see `practice_catalogue`."""
        self._writer.write(practice_catalogue(at_utc=self._utc_now()))

    def _lend(self) -> LogbookConnection:
        book: LogbookConnection = self._outcome(self._writer.read(lambda book: book))
        return book

    def _confirmed(
        self, entry: entries.LogbookEntry, when_too_late: _WhenTooLate | None = None
    ) -> int | None:
        written = self._writer.confirm(entry)
        try:
            return self._outcome(written)
        except LogbookUnavailable:
            if when_too_late:
                written.add_done_callback(when_too_late)
            raise

    def _outcome(self, future: "Future[_Value]") -> _Value:
        try:
            return future.result(self.confirm_timeout_s)
        except TimeoutError:
            future.cancel()
            raise LogbookUnavailable(
                f"The logbook's disk has not answered for {self.confirm_timeout_s:g} seconds."
            ) from None

    def _end_late_start(self, written: "Future[int | None]") -> None:
        if written.cancelled() or written.exception() is not None:
            return
        run = written.result()
        if run is not None:
            end = RunEnd(
                run=run,
                ended="failed",
                because="The logbook took too long to note the start: nothing was etched.",
                elapsed_s=0.0,
                at_utc=self._utc_now(),
                etched_rows=0,
            )
            self.end_run(end)
