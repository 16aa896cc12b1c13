"""What records cost a box: `pytest -m measure tests/measure/records_cost_test.py -s` prints it."""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from etchwarden.practice_session.process_group import ProcessGroup
from measure.costs import resident_mb
from support.harnesses.broker import free_port
from support.harnesses.logbooks import LONG_S, Disk, logbook_on, row_of, start_run

pytestmark = pytest.mark.measure


def written_bytes():
    return int(
        re.search(r"^write_bytes: (\d+)", Path("/proc/self/io").read_text(), re.MULTILINE)[1]
    )


def cpu_s(pid):
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


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


def test_what_daemon_and_page_cost_at_rest(tmp_path):
    with ProcessGroup(tmp_path) as household:
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
