"""All that the logbook keeps of one etch, gathered from answers of limited size."""

from collections.abc import Iterator
from dataclasses import dataclass

from etchweb.daemon.protocol import Daemon
from etchwire.calls.history import Run, RunEvent, RunEvents, RunRecord, RunRow, RunRows, RunRowsPage


@dataclass(frozen=True, slots=True)
class EtchRecord:
    """A run with its events in their order, and its rows from the top."""

    run: RunRecord
    events: tuple[RunEvent, ...]
    rows: tuple[RunRow, ...]


def ask_etch(daemon: Daemon, number: int) -> EtchRecord:
    """Return all of etch `number`; raise DaemonAbsent, or Refused where there is none."""
    run = daemon.ask(Run(id=number))
    rows = tuple(row for page in row_pages(daemon, number) for row in page.rows)
    return EtchRecord(run, tuple(_events(daemon, number)), rows)


def row_pages(daemon: Daemon, number: int) -> Iterator[RunRowsPage]:
    """Yield the rows of an etch page by page; raise DaemonAbsent or Refused."""
    from_row: int | None = 0
    while from_row is not None:
        page = daemon.ask(RunRows(id=number, from_row=from_row))
        yield page
        from_row = page.next_row


def _events(daemon: Daemon, number: int) -> Iterator[RunEvent]:
    after: int | None = 0
    while after is not None:
        page = daemon.ask(RunEvents(id=number, after=after))
        yield from page.events
        after = page.next_after
