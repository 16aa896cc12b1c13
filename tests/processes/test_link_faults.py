"""Faults of the link with real processes; the same daemon goes on after each."""

import fcntl
import os
import re
import resource
import signal
import time
from contextlib import ExitStack

import pytest

from link_bench import Bench
from rig.bench import patch

LONG = patch(80, 300)


@pytest.fixture
def bench(tmp_path):
    with ExitStack() as parts:
        yield Bench(tmp_path, parts)


def test_a_cable_pulled_in_motion_and_put_back_as_another_device(bench):
    bench.begin()
    bench.start(LONG)
    bench.etch_until_row(3)
    before = bench.port.resolve()

    bench.do("unplug")
    run = bench.end_of_run()
    master, other = os.openpty()  # the number that has become free is taken
    bench.do("plug_in")

    assert run["ended"] == "failed"
    assert "gone" in run["because"]
    assert any(event["kind"] == "fault" and "gone" in event["text"] for event in bench.events(run))
    bench.etch_the_next()
    assert bench.port.resolve() != before or os.ttyname(other) != str(before)
    os.close(master)
    os.close(other)


def test_a_daemon_halted_for_five_seconds_says_so_and_burns_nothing(bench):
    bench.begin(speedup=10)
    bench.start(LONG)
    bench.etch_until_row(1)

    bench.daemon.send_signal(signal.SIGSTOP)
    time.sleep(5.0)
    is_burning = bench.do("state")["is_burning"]
    bench.daemon.send_signal(signal.SIGCONT)
    run = bench.end_of_run()

    assert not is_burning
    assert run["ended"] == "stopped"
    assert re.search(r"held up for \d", run["because"])
    assert not bench.do("state")["outputs"]["beam_enable"]
    bench.until(lambda status: status["machine"]["link"] == "ready")


def test_a_full_disk_ends_no_etch_and_what_was_kept_back_is_written_when_there_is_room(bench):
    bench.begin()
    bench.start(LONG)
    bench.etch_until_row(1)
    pid, limit = bench.daemon.pid, resource.RLIMIT_FSIZE
    _, most = resource.prlimit(pid, limit)

    resource.prlimit(pid, limit, (0, most))
    told = bench.until(lambda status: status["logbook_trouble"] is not None)["logbook_trouble"]
    run = bench.end_of_run()
    resource.prlimit(pid, limit, (most, most))
    bench.until(lambda status: status["logbook_trouble"] is None)

    assert told
    assert run["ended"] == "complete"
    rows = bench.ask("run_rows", id=run["id"])["rows"]
    assert [row[0] for row in rows] == list(range(len(LONG)))
    assert bench.ask("run", id=run["id"])["ended"] == "complete"
    bench.etch_the_next()


def test_a_damaged_logbook_is_set_aside_at_the_start_and_etching_goes_on(bench):
    (bench.records / "logbook.sqlite3").write_bytes(b"SQLite format 3\0" + bytes(range(256)) * 40)

    bench.begin()

    bench.etch_the_next()
    kept = [path.name for path in bench.records.iterdir() if "logbook" in path.name]
    assert len([name for name in kept if "damaged" in name]) == 1, kept


def test_a_port_that_another_program_holds_is_told_of_and_taken_when_it_is_free(bench):
    bench.begin(starts_daemon=False)
    descriptor = os.open(bench.port, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(descriptor, fcntl.LOCK_EX)

    bench.begin_daemon()
    bench.until(lambda status: "in use by another program" in status["machine"]["sentence"])
    os.close(descriptor)

    bench.etch_the_next()
