"""A logbook for tests: its disk can be slow or full, and its verbs are a run's."""

import threading

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.logbook import Logbook
from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.ports import RunEnd, RunNote
from etchwire.calls.history import RunRow
from etchwire.record import run_record
from support.harnesses.calls import as_table, call_of
from support.samples.sheets import sheet_of

STARTED_UTC = "2026-11-25T17:02:00+00:00"
OPENED_UTC = "2026-11-26T08:00:00+00:00"
EVENT = {
    "at_s": 1.5,
    "at_utc": "2026-11-25T17:02:01+00:00",
    "kind": "warning",
    "text": "Something.",
    "details": {"row": 3},
}
END = {
    "ended": "complete",
    "because": "All rows are etched.",
    "elapsed_s": 8.0,
    "at_utc": "2026-11-25T17:02:08+00:00",
    "etched_rows": 20,
}
LONG_S = 20.0  # nothing here takes long: only a fault does


def row_of(row, feed=4000.0, **changes):
    parts = {
        "row": row,
        "samples": 10,
        "is_estimated": False,
        "feed_mean_mm_per_min": feed,
        "feed_min_mm_per_min": feed,
        "feed_max_mm_per_min": feed,
        "power_mean_ratio": 0.6,
        "power_min_ratio": 0.6,
        "power_max_ratio": 0.6,
        "at_s": 0.4 * row,
    }
    return RunRow(**(parts | changes))


class Disk:
    """The disk under a logbook: it can be slow, full, or not there when the daemon starts."""

    def __init__(self, path):
        self.path = path
        self.is_missing = False
        self.is_committing = threading.Event()
        self.commits = 0
        self._may_commit = threading.Event()
        self._may_commit.set()

    def hold_back(self):
        """Let no commit through until `let_go`."""
        self.is_committing.clear()
        self._may_commit.clear()

    def let_go(self):
        self._may_commit.set()

    def fill(self):
        """Leave no page free: SQLite itself then says that the disk is full."""
        self._book.execute("PRAGMA max_page_count = 1")

    def make_room(self):
        self._book.execute("PRAGMA max_page_count = 1000000")

    def open(self):
        if self.is_missing:
            raise LogbookUnavailable("The logbook cannot be opened: the disk is full.")
        self._book, note = open_logbook(self.path, at_utc=OPENED_UTC)
        return _SlowBook(self._book, self), note

    def before_commit(self):
        self.is_committing.set()
        assert self._may_commit.wait(LONG_S)
        self.commits += 1


class _SlowBook:
    """A connection whose commits wait for the disk."""

    def __init__(self, book, disk):
        self._book = book
        self._disk = disk

    def execute(self, statement, values=()):
        if statement == "COMMIT":
            self._disk.before_commit()
        return self._book.execute(statement, values)

    @property
    def turn(self):
        return self._book.turn

    @property
    def in_transaction(self):
        return self._book.in_transaction

    def close(self):
        self._book.close()


class NamedLogbook(Logbook):
    """A logbook that is asked by name, and answers in plain tables."""

    @classmethod
    def with_practice(cls, folder, clock):
        """Return a started logbook in `folder` with the practice lasers, at the time of `clock`."""
        logbook = cls.at(
            folder / "logbook.sqlite3",
            utc_now=clock.utc_now,
            is_clock_synchronised=lambda: True,
            confirm_timeout_s=LONG_S,
        )
        logbook.start()
        logbook.introduce_practice()
        return logbook

    def ask(self, call, **params):
        if not isinstance(call, str):
            return super().ask(call)
        return as_table(super().ask(call_of(call, **params)))

    def note(self, call, **params):
        if not isinstance(call, str):
            return super().note(call)
        return as_table(super().note(call_of(call, **params)))

    def note_event(self, run, **event):
        super().note_event(run if isinstance(run, RunNote) else RunNote(run=run, **event))

    def confirm_event(self, run, **event):
        super().confirm_event(run if isinstance(run, RunNote) else RunNote(run=run, **event))

    def end_run(self, run, **end):
        super().end_run(run if isinstance(run, RunEnd) else RunEnd(run=run, **end))

    def run_record(self, run):
        """Return what `run.json` holds of `run`."""
        return as_table(run_record(self.ask, run))


def logbook_on(disk, **more):
    return NamedLogbook(disk.open, utc_now=lambda: OPENED_UTC, **more)


def start_run(logbook, **changes):
    return logbook.start_run(
        sheet_json=sheet_of(**changes).to_json(), started_at_utc=STARTED_UTC, notes={}
    )
