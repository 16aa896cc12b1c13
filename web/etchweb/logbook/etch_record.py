"""All that the logbook keeps of one etch, gathered from answers of limited size."""

from dataclasses import dataclass

from etchweb.daemon.protocol import Daemon
from etchwire.calls.history import Run, RunEvent, RunRecord, RunRow
from etchwire.record import events_of, row_pages


@dataclass(frozen=True, slots=True)
class EtchRecord:
    """A run with its events in their order, and its rows from the top."""

    run: RunRecord
    events: tuple[RunEvent, ...]
    rows: tuple[RunRow, ...]


def first_of_chain(daemon: Daemon, run: RunRecord) -> RunRecord:
    """Return the run with which a chain of runs began: its job is what was laid or loaded."""
    while run.continues_run_id is not None:
        run = daemon.ask(Run(id=run.continues_run_id))
    return run


def ask_etch(daemon: Daemon, number: int) -> EtchRecord:
    """Return all of etch `number`; raise DaemonAbsent, or Refused where there is none."""
    run = daemon.ask(Run(id=number))
    rows = tuple(row for page in row_pages(daemon.ask, number) for row in page.rows)
    return EtchRecord(run, tuple(events_of(daemon.ask, number)), rows)
