"""Faults of the link with real processes; the same daemon goes on after each."""

import fcntl
import os
import re
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path

import pytest

from etchdaemon.assembly import LOGBOOK_NAME
from rig.bench import patch
from support.harnesses.link_bench import Bench, until

LONG = patch(80, 300)
MOST_TRIES = 20


@pytest.fixture
def bench(tmp_path):
    with ExitStack() as parts:
        yield Bench(tmp_path, parts)


@pytest.mark.fault("comes back under the same name", "comes back under another name")
def test_a_cable_pulled_in_motion_comes_back_under_the_same_name_or_another(bench):
    bench.begin()
    for comes_back in (_under_the_same_name, _under_another_name):
        bench.start(LONG)
        bench.etch_until_row(2)

        bench.do("unplug")
        run = bench.end_of_run()
        comes_back(bench)

        assert run["ended"] == "failed"
        assert "gone" in run["because"]
        faults = [event for event in bench.events(run) if event["kind"] == "fault"]
        assert any("gone" in fault["text"] for fault in faults)
    bench.etch_the_next()


@pytest.mark.fault(
    "unplugged at rest", "comes back under the same name", "comes back under another name"
)
def test_a_cable_pulled_at_rest_comes_back_under_the_same_name_or_another(bench):
    bench.begin()
    for comes_back in (_under_the_same_name, _under_another_name):
        bench.until(lambda status: status["machine"]["link"] == "ready")

        bench.do("unplug")
        bench.until(lambda status: "There is no port" in status["machine"]["sentence"])
        comes_back(bench)

    bench.etch_the_next()


def _under_the_same_name(bench):
    """Put the cable in again where the terminal that was pulled had its number."""
    before = bench.last_device
    for _ in range(MOST_TRIES):
        with _lower_numbers_taken(before):
            bench.do("plug_in")
        if bench.port.resolve() == before:
            return
        bench.do("unplug")  # somebody else's terminal had come in between
    raise AssertionError(f"{before} never became free")


def _under_another_name(bench):
    """Put it in again while something else has taken its number."""
    before = bench.last_device
    with _lower_numbers_taken(before) as is_free, ExitStack() as taken:
        if is_free:
            taken.enter_context(_Terminal())
        bench.do("plug_in")
    assert bench.port.resolve() != before


class _Terminal:
    """A pseudo-terminal of our own: the lowest number that is free."""

    def __enter__(self):
        self._ends = os.openpty()
        return Path(os.ttyname(self._ends[1]))

    def __exit__(self, *_):
        for end in self._ends:
            os.close(end)


@contextmanager
def _lower_numbers_taken(path):
    """Take every free number below that of `path`; tell whether `path` itself is free."""
    with ExitStack() as taken:
        while not path.exists():
            probe = _Terminal()
            name = probe.__enter__()
            if int(name.name) >= int(path.name):
                probe.__exit__()
                yield name == path
                return
            taken.push(probe)
        yield False


@pytest.mark.fault("host paused for 5 s")
def test_a_daemon_halted_for_five_seconds_says_so_once_and_the_box_had_put_the_beam_out(bench):
    bench.begin(speedup=1)  # where the heartbeat has its contact
    bench.start(LONG)
    bench.etch_until_row(1)

    bench.daemon.send_signal(signal.SIGSTOP)
    until(lambda: not bench.do("state")["is_beam_enabled"])
    is_still_told_to_close = bench.do("state")["outputs"]["beam_enable"]
    light = _light(bench)
    time.sleep(5.0)  # what is tried is the time itself
    light_then = _light(bench)
    bench.daemon.send_signal(signal.SIGCONT)
    run = bench.end_of_run()
    state, trips = bench.do("state"), bench.ask("status")["interlocks"]["trips"]
    told = [event for event in bench.events(run) if event["kind"] == "trip"]

    assert is_still_told_to_close
    assert light_then == light == _light(bench)
    assert run["ended"] == "stopped"
    assert re.match(r"The control program was held up for \d", run["because"])
    assert not state["outputs"]["beam_enable"]
    assert len(told) == len(trips) == 1, trips
    bench.etch_the_next()


def test_a_daemon_that_is_killed_takes_the_beam_with_it(bench):
    bench.begin(speedup=1)  # where the heartbeat has its contact
    bench.start(LONG)
    bench.etch_until_row(1)
    assert bench.do("state")["inputs"]["loop_closed"]

    bench.daemon.kill()
    until(lambda: not bench.do("state")["inputs"]["loop_closed"])

    assert not bench.do("state")["is_burning"]
    until(lambda: not any(bench.do("state")["outputs"].values()))


def test_a_hurried_practice_goes_on_after_a_busy_computer_halted_its_daemon(bench):
    bench.begin()
    bench.start(patch(20, 300))
    bench.etch_until_row(2)

    bench.daemon.send_signal(signal.SIGSTOP)
    time.sleep(0.6)  # what is tried is the time itself
    bench.daemon.send_signal(signal.SIGCONT)
    run = bench.end_of_run()

    assert run["ended"] == "complete", run["because"]
    warned = [event["text"] for event in bench.events(run) if event["kind"] == "warning"]
    assert any("held up" in text for text in warned)


def _light(bench):
    return bench.do("row_light", rectangle=(0.0, 0.0, 40.0, 10.0), rows=1, pieces=1)


def test_a_full_disk_ends_no_etch_and_what_was_kept_back_is_written_when_there_is_room(bench):
    bench.begin()
    bench.start(picture := LONG[:40])
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
    assert [row[0] for row in rows] == list(range(len(picture)))
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


def test_programs_that_try_to_read_the_logbook_beside_a_busy_core_end_no_etch(bench):
    bench.begin(speedup=2)  # at twenty a pause of 50 ms counts as a second of the machine's
    bench.start(LONG[:10])
    bench.etch_until_row(1)
    busy = subprocess.Popen([sys.executable, "-c", "while True: pass"])
    try:
        for _ in range(200):
            _try_to_read(bench.records / LOGBOOK_NAME)
    finally:
        busy.kill()
        busy.wait()
    run = bench.end_of_run()

    assert run["ended"] == "complete", run


def _try_to_read(logbook):
    """Open the logbook as any program might, and give up at once where it is not let in."""
    with suppress(sqlite3.Error), closing(sqlite3.connect(logbook, timeout=0)) as reader:
        reader.execute("SELECT count(*) FROM run").fetchone()
