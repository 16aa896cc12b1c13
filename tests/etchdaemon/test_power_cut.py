"""The power goes while the logbook is written: what was answered for is there afterwards.

A disk keeps what was synced, and of what came since any sectors, in any order. In one
transaction the files go from `before` to `after`: first the WAL is written and synced, then, at a
checkpoint, the database from it. So each mixture of the WAL's sectors with the old database, and
of the database's with the new WAL, is a disk that there may be. How SQLite syncs, by its own
account: https://sqlite.org/wal.html and https://sqlite.org/atomiccommit.html.
"""

import random
import sqlite3

import pytest

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.schema.opening import open_logbook
from support.harnesses.logbooks import (
    END,
    EVENT,
    LONG_S,
    OPENED_UTC,
    NamedLogbook,
    row_of,
    start_run,
)

SECTOR_BYTES = 512
WAL_HEADER_BYTES = 32  # https://sqlite.org/fileformat2.html, section 4.1
ENTRIES = 40
CUTS_OF_EACH = 2
NAMES = ("logbook.sqlite3", "logbook.sqlite3-wal")


class WatchedBook:
    """A connection that shows the files as they are before and after every transaction."""

    def __init__(self, folder, book, when_written):
        self._folder, self._book, self._when_written = folder, book, when_written
        book.execute("PRAGMA wal_autocheckpoint = 12").fetchall()  # so that they come often

    def execute(self, statement, values=()):
        if statement.startswith("BEGIN"):
            self._kept, self._before = contents(self._book), files_in(self._folder)
        answer = self._book.execute(statement, values)
        if statement == "COMMIT":
            self._when_written(self._kept, self._before, files_in(self._folder))
        return answer

    def __getattr__(self, name):
        return getattr(self._book, name)


def contents(book):
    """Return the runs and events that are in a book."""
    return tuple(
        {row[0] for row in book.execute(f"SELECT {column} FROM {table}")}
        for column, table in (("title", "run"), ("text", "run_event"))
    )


def logbook_at(folder, when_written=lambda *_: None):
    def opened():
        book, note = open_logbook(folder / NAMES[0], at_utc=OPENED_UTC)
        return WatchedBook(folder, book, when_written), note

    return NamedLogbook(opened, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S)


def files_in(folder):
    paths = [folder / name for name in NAMES]
    return [path.read_bytes() if path.exists() else b"" for path in paths]


def mixed(chance, before, after):
    """Return what of `after` may have come over `before` when the power went."""
    if chance.random() < 0.2:
        return (
            before
            + after[len(before) : chance.randint(len(before), max(*map(len, (before, after))))]
        )
    share = chance.random()
    size = chance.choice((len(before), len(after), chance.randint(0, len(after))))
    sectors = [
        (after if chance.random() < share else before)[at : at + SECTOR_BYTES].ljust(
            SECTOR_BYTES, b"\0"
        )
        for at in range(0, max(size, len(before)), SECTOR_BYTES)
    ]
    return b"".join(sectors)[: max(size, len(before))]


def with_header_of(after, before):
    """Return the WAL `before` with the header of the one `after` it.

    A WAL that begins anew has its header synced before a frame goes over the old ones, or old
    frames would be taken for new ones (https://sqlite.org/src/info/ff5be73dee, from memory).
    """
    return after[:WAL_HEADER_BYTES] + before[WAL_HEADER_BYTES:]


def cut(chance, folder, before, after):
    """Leave in `folder` a disk whose power went somewhere between `before` and `after`."""
    folder.mkdir()
    if chance.random() < 0.7:
        book, wal = before[0], mixed(chance, with_header_of(after[1], before[1]), after[1])
    else:
        book, wal = mixed(chance, before[0], after[0]), after[1]
    (folder / NAMES[0]).write_bytes(book)
    (folder / NAMES[1]).write_bytes(wal)


def write_one(chance, logbook, number, run):
    """Write one thing and wait until it is answered for; return the run under way."""
    if run is None or number % 10 == 0:
        if run is not None:
            logbook.end_run(run, **END)
        return start_run(logbook, title=f"picture {number}")
    logbook.note_rows(run, [row_of(row) for row in range(number * 8, number * 8 + 8)])
    details = {"padding": "x" * chance.choice((1, 500, 9000))}
    logbook.confirm_event(run, **(EVENT | {"text": f"event {number}", "details": details}))
    return run


def told(logbook):
    """Return the runs and events that a logbook tells of."""
    runs = logbook.ask("runs", before=None, limit=50)["runs"]
    return runs, {text for run in runs for text in events_of(logbook, run["id"])}


def events_of(logbook, run):
    """Yield the texts of a run's events, page after page: long ones do not fit one answer."""
    after = 0
    while after is not None:
        page = logbook.ask("run_events", id=run, after=after, limit=500)
        yield from (event["text"] for event in page["events"])
        after = page["next_after"]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_whatever_was_written_is_there_after_a_power_cut_at_any_moment_of_what_follows(
    tmp_path, seed
):
    chance = random.Random(seed)
    disks, run = [], None

    def cut_some(kept, before, after):
        for _ in range(CUTS_OF_EACH):
            disks.append((tmp_path / f"disk {len(disks)}", *kept))
            cut(chance, disks[-1][0], before, after)

    (tmp_path / "box").mkdir()
    with logbook_at(tmp_path / "box", cut_some) as logbook:
        for number in range(ENTRIES):
            run = write_one(chance, logbook, number, run)

    assert len(disks) > CUTS_OF_EACH * ENTRIES
    for folder, titles, texts in disks:
        with logbook_at(folder) as logbook:
            runs, events = told(logbook)
            notes = logbook.ask("runs", before=None, limit=1)["notes"]
            assert (logbook.trouble, notes) == (None, [])
            assert titles <= {run["title"] for run in runs}
            assert texts <= events
            for run in runs:
                assert run["ended"] == "complete" or "control program" in run["because"], run
            start_run(logbook)


@pytest.mark.parametrize("wal", [b"", b"\0" * 4096])
def test_a_book_that_never_reached_the_disk_is_begun_anew(tmp_path, wal):
    (tmp_path / NAMES[0]).write_bytes(b"")
    if wal:
        (tmp_path / NAMES[1]).write_bytes(wal)

    with logbook_at(tmp_path) as logbook:
        assert start_run(logbook) == 1
        notes = [note["text"] for note in logbook.ask("runs", before=None, limit=1)["notes"]]

    aside = list(tmp_path.glob("logbook.damaged-*"))
    assert [path.read_bytes() for path in aside if path.name.endswith("-wal")] == [wal] * bool(wal)
    assert ["it is empty, and records wait beside it" in note for note in notes] == [True] * bool(
        wal
    )


def test_records_that_lost_their_book_are_set_aside_and_not_thrown_away(tmp_path):
    (tmp_path / NAMES[1]).write_bytes(b"\x37\x7f\x06\x82" + b"records")

    with logbook_at(tmp_path) as logbook:
        assert logbook.trouble is None

    assert any(path.read_bytes().endswith(b"records") for path in tmp_path.glob("*damaged*-wal"))


def test_a_book_of_another_program_is_neither_read_nor_touched(tmp_path):
    with sqlite3.connect(tmp_path / NAMES[0]) as book:
        book.execute("CREATE TABLE theirs (x)")
    book.close()
    theirs = (tmp_path / NAMES[0]).read_bytes()

    with logbook_at(tmp_path) as logbook:
        assert "another program" in logbook.trouble
        with pytest.raises(LogbookUnavailable, match="another program"):
            start_run(logbook)

    assert (tmp_path / NAMES[0]).read_bytes() == theirs
