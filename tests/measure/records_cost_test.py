"""What records cost a box: `pytest -m measure tests/measure/records_cost_test.py -s` prints it."""

import os
import re
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from etchdaemon.logbook.backup import copy_book
from etchwarden.household import Household
from kills import free_port
from logbooks import EVENT, LONG_S, Disk, logbook_on, row_of, start_run
from measure.costs import heading, tell

pytestmark = pytest.mark.measure


def written_bytes():
    return int(
        re.search(r"^write_bytes: (\d+)", Path("/proc/self/io").read_text(), re.MULTILINE)[1]
    )


def cpu_s(pid):
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid):
    status = Path(f"/proc/{pid}/status").read_text()
    return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1000


def test_what_a_batch_of_rows_writes_to_the_card(tmp_path):
    """Two rows a second for a minute, as a portrait is etched; it needs a real disk."""
    disk = Disk(tmp_path / "logbook.sqlite3")
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook, rows=2000)
        before, commits, began_s = written_bytes(), disk.commits, time.monotonic()
        for number in range(120):
            logbook.note_rows(run, [row_of(number, feed=3999.9)])
            time.sleep(0.5)
        took_s, batches = time.monotonic() - began_s, disk.commits - commits
        kb = (written_bytes() - before) / 1000
    print(f"\n{batches} commits in {took_s:.0f} s ({batches / took_s:.2f} a second), ", end="")
    print(f"{kb / max(batches, 1):.1f} kB written a batch")


def test_a_backup_of_200_mb_beside_a_loop_of_4_ms(tmp_path):
    """The loop's lateness is what the planner's 11 ms of window are there for."""
    disk, is_over = Disk(tmp_path / "logbook.sqlite3"), threading.Event()
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        rows = [row_of(number, feed=3999.9) for number in range(20_000)]
        run = start_run(logbook)
        while disk.path.stat().st_size < 200e6:
            run = start_run(logbook)
            logbook.note_rows(run, rows)
            logbook.confirm_event(run, **EVENT)
        book, took = logbook._lend(), []

        def back_up():
            began_s = time.monotonic()
            copy = copy_book(book, tmp_path / "copy.sqlite3", between=lambda _: time.sleep(0.02))
            took.append((time.monotonic() - began_s, copy.bytes / 1e6))
            is_over.set()

        thread = threading.Thread(target=back_up)
        thread.start()
        late_ms, commit_ms, nobody_rings = [], [], threading.Event()
        while not is_over.is_set():
            due_s = time.perf_counter() + 0.004
            nobody_rings.wait(0.004)
            late_ms.append((time.perf_counter() - due_s) * 1000)
            if len(late_ms) % 250 == 0:
                began_s = time.perf_counter()
                logbook.confirm_event(run, **EVENT)
                commit_ms.append((time.perf_counter() - began_s) * 1000)
        thread.join()
    heading(f"a backup of {took[0][1]:.0f} MB in {took[0][0]:.1f} s")
    tell("how late a loop of 4 ms wakes", sorted(late_ms))
    tell("an event waited for meanwhile", sorted(commit_ms))


def test_what_daemon_and_page_cost_at_rest(tmp_path):
    with Household(tmp_path) as household:
        household.start("practice machine", "machine", "--folder", str(tmp_path / "machine"))
        household.wait_until((tmp_path / "machine" / "control.sock").is_socket)
        begun = [
            subprocess.Popen([sys.executable, "-m", "etchwarden", *words])
            for words in (
                ("daemon", "--port", str(tmp_path / "machine" / "port"), "--socket",
                 str(tmp_path / "s"), "--state", str(tmp_path / "records"), "--practice",
                 str(tmp_path / "machine")),
                ("page", "--daemon", str(tmp_path / "s"), "--folder", str(tmp_path / "page"),
                 "--port", str(free_port())),
            )
        ]  # fmt: skip
        try:
            household.wait_until((tmp_path / "s").is_socket)
            print(f"\ndaemon to its open socket: {cpu_s(begun[0].pid):.2f} s of processor time")
            time.sleep(15)
            mb = [resident_mb(process.pid) for process in begun]
            print(f"at rest: daemon {mb[0]:.1f} MB, page {mb[1]:.1f} MB, together {sum(mb):.1f} MB")
        finally:
            for process in begun:
                process.terminate()
                process.wait()
