"""What the logbook costs: `pytest -m measure tests/measure/logbook_cost_test.py -s` prints it."""

import threading
import time

import pytest

from measure.costs import heading, resident_mb, tell, timed_ms
from support.harnesses.logbooks import (
    EVENT,
    LONG_S,
    STARTED_UTC,
    Disk,
    logbook_on,
    row_of,
    start_run,
)
from support.samples.sheets import sheet_of

pytestmark = pytest.mark.measure


class SlowDisk(Disk):
    """A disk whose every commit lasts this much longer."""

    def __init__(self, path, extra_s=0.0):
        super().__init__(path)
        self.extra_s = extra_s

    def before_commit(self):
        time.sleep(self.extra_s)
        super().before_commit()


@pytest.mark.parametrize("extra_s", [0.0, 0.1])
def test_what_those_wait_who_write(tmp_path, extra_s):
    heading(f"writing; each commit {extra_s * 1000:g} ms longer")
    disk, times = SlowDisk(tmp_path / "logbook.sqlite3", extra_s), 20 if extra_s else 300
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook)
        rows = [row_of(number) for number in range(2000)]
        sheet_json = sheet_of(1000).to_json()

        def start(_):
            logbook.start_run(sheet_json=sheet_json, started_at_utc=STARTED_UTC, notes={})

        tell("start of a run of 1000 rows", timed_ms(start, times))
        tell("event, waited for", timed_ms(lambda _: logbook.confirm_event(run, **EVENT), times))
        tell("event, noted", timed_ms(lambda _: logbook.note_event(run, **EVENT), 2000))
        tell("row, noted", timed_ms(lambda at: logbook.note_rows(run, [rows[at]]), 2000))


def test_what_those_wait_who_ask(tmp_path):
    heading("asking; a logbook of 60 runs of 2000 rows")
    disk = Disk(tmp_path / "logbook.sqlite3")
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        for _ in range(60):
            run = start_run(logbook, rows=2000)
            logbook.note_rows(run, [row_of(number, feed=3999.9) for number in range(2000)])
            logbook.confirm_event(run, **EVENT)
        tell("runs, 50", timed_ms(lambda _: logbook.ask("runs", before=None, limit=50), 50))
        tell("run, with its comparison", timed_ms(lambda _: logbook.ask("run", id=run), 50))
        tell(
            "run_rows, 500",
            timed_ms(lambda _: logbook.ask("run_rows", id=run, from_row=700, limit=500), 50),
        )
        tell("the whole record", timed_ms(lambda _: logbook.run_record(run), 10))
    size_mb = disk.path.stat().st_size / 1e6
    again = logbook_on(disk)
    tell(f"opening, checking {size_mb:.1f} MB", timed_ms(lambda _: again.start(), 1))
    again.close()


def test_what_a_full_disk_costs_in_memory(tmp_path):
    disk = Disk(tmp_path / "logbook.sqlite3")
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook)
        disk.hold_back()
        before_mb = resident_mb()
        for number in range(20_000):
            logbook.note_rows(run, [row_of(number, feed=3000.0 + number / 7, at_s=number / 3)])
        print(f"\n20 000 rows kept in memory: {resident_mb() - before_mb:.1f} MB")
        disk.let_go()


@pytest.mark.parametrize("load", ["nothing", "rows and events", "rows, events and questions"])
def test_how_late_a_loop_of_4_ms_wakes_beside_the_logbook(tmp_path, load):
    disk, is_over = Disk(tmp_path / "logbook.sqlite3"), threading.Event()
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook, rows=2000)
        logbook.note_rows(run, [row_of(number) for number in range(2000)])

        def ask():
            while not is_over.wait(0.1):
                logbook.ask("run_rows", id=run, from_row=0, limit=500)
                logbook.ask("run", id=run)

        asker = threading.Thread(target=ask)
        if "questions" in load:
            asker.start()
        late_ms, nobody_rings = [], threading.Event()
        for number in range(2500):
            due_s = time.perf_counter() + 0.004
            nobody_rings.wait(0.004)
            late_ms.append((time.perf_counter() - due_s) * 1000)
            if load != "nothing" and number % 25 == 0:  # ten rows a second
                logbook.note_rows(run, [row_of(number)])
            if load != "nothing" and number % 250 == 0:
                logbook.note_event(run, **EVENT)
        is_over.set()
        if asker.is_alive():
            asker.join()
    heading("how late a loop of 4 ms wakes beside")
    tell(load, sorted(late_ms))


def test_how_large_a_run_is(tmp_path):
    disk = Disk(tmp_path / "logbook.sqlite3")
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook, rows=2000)
        logbook.note_rows(run, [row_of(number, feed=3999.9) for number in range(2000)])
    print(f"\na run of 2000 rows on disk: {disk.path.stat().st_size / 1000:.0f} kB;", end=" ")
    print(f"its sheet with the index: {len(sheet_of(2000).to_json()) / 1000:.0f} kB")
