"""A board that stalls for less than the interlocks allow: nobody looks, the machine goes on."""

import os
import sqlite3
import subprocess
import sys
from contextlib import ExitStack, contextmanager

import pytest

from etchdaemon.logbook.schema.opening import open_logbook
from rig.bench import patch
from rig.guarded import GuardedRig
from support.harnesses.logbooks import LONG_S, OPENED_UTC, NamedLogbook

pytestmark = pytest.mark.slow

STALL_S = 0.236  # and with the steps on either side 0.24 to 0.25 s, after which a reading is stale
STALLS = 8
READERS = """
import sqlite3, sys
for many in sys.stdin:
    refused = []
    for _ in range(int(many)):
        book = sqlite3.connect(sys.argv[1], timeout=0)
        try:
            book.execute("SELECT * FROM run").fetchall()
        except sqlite3.OperationalError as error:
            refused.append(str(error))
        book.close()
    print(refused.count("database is locked"), flush=True)
"""


class LoggedRig(GuardedRig):
    """Its runs are written into a real logbook, on a disk, by the logbook's own thread."""

    def make_records(self):
        self.logbook_path = self.folder / "logbook.db"
        self.logbook = NamedLogbook(
            lambda: open_logbook(self.logbook_path, at_utc=OPENED_UTC),
            utc_now=lambda: OPENED_UTC,
            confirm_timeout_s=LONG_S,
        )
        self.logbook.start()
        return self.logbook

    def __exit__(self, *_):
        super().__exit__()
        self.logbook.close()


class Readers:
    """Another program, which opens the logbook as often as it is told to."""

    def __init__(self, child):
        self._child = child

    def begin(self, many):
        print(many, file=self._child.stdin, flush=True)

    def refused(self):
        """Wait until all have tried, and return how many the logbook kept out."""
        return int(self._child.stdout.readline())


@contextmanager
def program(text, *words, **pipes):
    child = subprocess.Popen([sys.executable, "-c", text, *words], text=True, **pipes)
    try:
        yield child
    finally:
        child.kill()
        child.communicate()


@pytest.fixture
def rig(tmp_path):
    with GuardedRig(tmp_path) as made:
        yield made


@pytest.fixture
def logged_rig(tmp_path):
    with LoggedRig(tmp_path) as made:
        yield made


@pytest.fixture
def readers(logged_rig):
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with program(READERS, str(logged_rig.logbook_path), **pipes) as child:
        yield Readers(child)


@pytest.fixture
def _busy_cores():
    with ExitStack() as running:
        for _ in os.sched_getaffinity(0):
            running.enter_context(program("while True: pass"))
        yield


def test_eight_stalls_of_a_quarter_of_a_second_end_no_etch(rig):
    rig.get_ready()
    rig.start(rig.make_job(patch(12, 200)))
    for row in range(1, STALLS + 1):
        rig.etch_until_row(row)
        rig.wait(0.1)
        rig.machine.advance(STALL_S)

    rig.wait_for_the_end()

    assert rig.run.ended == "complete", rig.record.end
    assert rig.tripped == []
    assert [row.row for row in rig.record.rows] == list(range(12))
    assert rig.record.event("starved")["details"]["cause"] == "computer"


@pytest.mark.usefixtures("_busy_cores")
def test_stalls_and_two_hundred_readers_of_the_logbook_end_no_etch_on_a_busy_computer(
    logged_rig, readers
):
    rig, refused = logged_rig, 0
    rig.get_ready()
    rig.start(rig.make_job(patch(12, 200)))

    for row in range(1, STALLS + 1):
        rig.etch_until_row(row)
        rig.wait(0.1)
        readers.begin(200 // STALLS)
        rig.machine.advance(STALL_S)
        rig.step(25)
        refused += readers.refused()
    rig.wait_for_the_end()

    assert rig.run.ended == "complete", rig.run
    assert rig.tripped == []
    assert refused == 200
    rows = rig.logbook.ask("run_rows", id=1, from_row=0, limit=500)["rows"]
    assert [row[0] for row in rows] == list(range(12))
    rig.logbook.close()
    with sqlite3.connect(rig.logbook_path) as book:
        assert book.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert book.execute("SELECT ended FROM run").fetchall() == [("complete",)]
    book.close()


def test_a_stall_that_is_longer_ends_it(rig):
    rig.get_ready()
    rig.start(rig.make_job(patch(12, 200)))
    rig.etch_until_row(3)

    rig.machine.advance(0.3)
    rig.wait_for_the_end()

    assert rig.run.ended == "stopped"
