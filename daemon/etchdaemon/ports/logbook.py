"""What the daemon needs of its logbook."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from etchdaemon.run.position_epoch import Ends, Origin
from etchwire.calls.call import Call
from etchwire.calls.catalogue import Note, Noted
from etchwire.calls.history import RunRow
from etchwire.calls.snapshot import StorageView
from etchwire.transport.json_text import JsonTable

_Answer = TypeVar("_Answer")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunNote:
    """Something that happened in a run (hold, resume, trip, warning ...)."""

    run: int
    at_s: float
    at_utc: str
    kind: str
    text: str
    details: JsonTable


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEnd:
    """How a run ended: `ended` is complete, stopped or failed."""

    run: int
    ended: str
    because: str
    elapsed_s: float
    at_utc: str
    etched_rows: int


class Records(Protocol):
    """The logbook as the serial loop sees it: nothing but a start and a resume waits for it."""

    def start_run(
        self,
        *,
        sheet_json: str,
        started_at_utc: str,
        notes: JsonTable,
        continues_run: int | None = None,
    ) -> int:
        """Write a run's start, wait until it is on disk and return its number.

        Raise LogbookUnavailable when it cannot be written: then nothing may start.
        """
        ...

    def note_event(self, note: RunNote) -> None:
        """Queue an event of a run, first in line; never waits."""
        ...

    def confirm_event(self, note: RunNote) -> None:
        """As `note_event`, but wait until it is on disk (a resume); raise LogbookUnavailable."""
        ...

    def note_rows(self, run: int, rows: Sequence[RunRow]) -> None:
        """Queue rows' actuals; the writer commits at most once a second."""
        ...

    def end_run(self, end: RunEnd) -> None:
        """Queue a run's end; never waits."""
        ...

    def note_epoch(self, because: str, *, at_utc: str) -> None:
        """Queue that another position epoch has begun; never waits."""
        ...

    def note_origin(self, origin: Origin, ends_mm: Ends | None, *, at_utc: str) -> None:
        """Queue that the origin was set in the epoch that lasts.

        `ends_mm` are the ends of the travel, where the machine was homed. Never waits.
        """
        ...

    @property
    def trouble(self) -> str | None:
        """A sentence when the logbook cannot be written at present, else None."""
        ...

    @property
    def storage(self) -> StorageView:
        """Free space and backups, as the snapshot shows them; reads no disk."""
        ...


class History(Protocol):
    """The logbook as it is read; any thread may ask, and waits for the answer."""

    def ask(self, call: Call[_Answer]) -> _Answer:
        """Answer what is asked of runs, the catalogue or backups.

        Raise CommandRefused for a run that is not there, LogbookUnavailable when the logbook
        cannot be read.
        """
        ...

    def note(self, call: Note) -> Noted:
        """Write what a person says of lasers, recipes, cards or tiles; return its number on disk.

        Raise CommandRefused for what makes no sense, LogbookUnavailable when the logbook cannot
        be written.
        """
        ...
