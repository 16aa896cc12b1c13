"""A backup of 200 MB while a portrait is etched: `pytest -m measure THIS_FILE -s` prints it.

Issue 8 asks for no starved planner. The daemon itself etches on the practice machine in real time
and is backed up twice, by its socket and by `etchwarden backup`; its memory is read from the
system. How soon the window is refilled can be timed on the paced cable of `link_cost_test` only:
there the daemon's loop runs in this process, beside the same logbook and backup.
"""

import re
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

from etchdaemon.assembly import LOGBOOK_NAME, SWITCH_INTERVAL_S
from etchdaemon.logbook.backup.backup import look_at
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import prepare_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from measure.costs import heading, tell
from measure.large_logbook import write_large_logbook
from measure.link_cost_test import (
    PLANNER_LIMIT,
    SECONDS,
    Bench,
    Cable,
    _has_passed,
    _percentile,
    job,  # noqa: F401 - a fixture
)
from support.harnesses.logbooks import EVENT, LONG_S, OPENED_UTC, NamedLogbook
from support.harnesses.plain_client import PlainClient
from support.samples.photo_files import PHOTOGRAPHS

pytestmark = pytest.mark.measure

MEGABYTES = 205
PHOTO = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
LOOKS_EVERY_S = 0.25


class Box:
    """A practice household at real speed, with a logbook of years and a portrait to etch."""

    def __init__(self, household, folder):
        self.household, self.folder = household, folder
        self.session = Session(household, folder)
        order = PhotoOrder(
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            width_mm=100.0,
            height_mm=100.0,
        )
        prepare_job(PHOTO, order, folder=self.session.job)
        self.records = folder / "records"
        self.records.mkdir()
        self.runs = write_large_logbook(self.records / LOGBOOK_NAME, megabytes=MEGABYTES)
        self.session.start_machine("--speedup", "1")
        self.get_armed()

    def get_armed(self):
        with PlainClient(self.session.socket) as daemon:
            self.session.load(daemon)
            self.session.arm(daemon)

    def resident_mb(self, which="VmRSS"):
        pid = self.household._processes["daemon"].pid
        status = Path(f"/proc/{pid}/status").read_text()
        return int(re.search(rf"{which}:\s+(\d+)", status)[1]) / 1000

    def stopped(self):
        """End the run, which writes how often its planner ran empty; return that, and its rows."""
        with PlainClient(self.session.socket) as daemon:
            run = daemon.call("status")["run"]
            assert run["ended"] is None, run["because"]
            daemon.call("stop")
            while daemon.call("status")["state"] != "ended":
                time.sleep(0.05)
            events = daemon.call("run_events", id=run["id"])["events"]
        starved = sum(event["details"]["reports"] for event in events if event["kind"] == "starved")
        return starved, run["etched_rows"]


@pytest.fixture
def box(tmp_path):
    folder = tmp_path / "box"
    folder.mkdir()
    with ProcessGroup(folder) as household:
        yield Box(household, folder)


@contextmanager
def commits_timed(session):
    """Have something written and waited for twice a second meanwhile; yield how long each took."""
    took_ms, is_over = [], threading.Event()

    def write():
        with PlainClient(session.socket) as daemon:
            head = daemon.call("heads")["heads"][0]["head"]["name"]
            while not is_over.wait(0.5):
                began_s = time.perf_counter()
                daemon.call("wipe_lens", head=head, who="somebody")
                took_ms.append((time.perf_counter() - began_s) * 1000)

    thread = threading.Thread(target=write)
    thread.start()
    yield took_ms
    is_over.set()
    thread.join()


def test_the_daemon_is_backed_up_while_it_etches(box, tmp_path):
    before_mb = box.resident_mb()
    with PlainClient(box.session.socket) as daemon:
        began_s = time.monotonic()
        daemon.call("backup")
        pressed_s = time.perf_counter()
        daemon.call("start", acknowledge_long_run=True)
        start_ms = (time.perf_counter() - pressed_s) * 1000
        with commits_timed(box.session) as took_ms:
            by_socket_s = waited_for(daemon, began_s)
            began_s = time.monotonic()
            by_command(box.folder / "daemon.sock", tmp_path)
            by_command_s = time.monotonic() - began_s
    after_mb, most_mb = box.resident_mb(), box.resident_mb("VmHWM")
    starved, rows = box.stopped()
    copies = [look_at(path) for path in (*tmp_path.glob("*.sqlite3"),
                                         *(box.records / "backups").glob("*.sqlite3"))]  # fmt: skip

    print(f"\na logbook of {copies[0].bytes / 1e6:.0f} MB, {box.runs} runs; {rows} rows etched")
    for words, figure in (
        ("backup by the socket, s", f"{by_socket_s:.1f}"),
        ("etchwarden backup, copied to another place, s", f"{by_command_s:.1f}"),
        ("planner found empty, reports", f"{starved}"),
        ("start, pressed during the backup, ms", f"{start_ms:.0f}"),
        ("daemon resident before / after / most, MB",
         f"{before_mb:.1f} / {after_mb:.1f} / {most_mb:.1f}"),
    ):  # fmt: skip
        print(f"{words:<48} {figure:>24}")
    heading("by the socket, written and waited for")
    tell("a wiped lens noted during both backups", sorted(took_ms))
    assert [copy.runs for copy in copies] == [box.runs + 1] * 3  # the one that was etched, too


def waited_for(daemon, began_s):
    while (state := daemon.call("backups"))["share"] is not None:
        time.sleep(LOOKS_EVERY_S)
    assert state["trouble"] is None, state["trouble"]
    return time.monotonic() - began_s


def by_command(socket, folder):
    subprocess.run(
        [sys.executable, "-m", "etchwarden", "backup", "--daemon", socket, folder],
        check=True,
        stdout=subprocess.DEVNULL,
    )


@pytest.mark.parametrize("is_backed_up", [False, True], ids=["without", "with"])
def test_how_soon_the_window_is_refilled_beside_a_backup(tmp_path, job, is_backed_up):  # noqa: F811
    path, interval_s = tmp_path / "years" / LOGBOOK_NAME, sys.getswitchinterval()
    path.parent.mkdir()
    write_large_logbook(path, megabytes=MEGABYTES)
    cable = Cable(PLANNER_LIMIT)
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    try:
        with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook:
            bench = Bench(tmp_path, cable, records=logbook)
            bench.start(job)
            bench.run_until(lambda: _has_passed(bench, 1.0))
            with backups_without_end(logbook, is_backed_up) as made, events_timed(logbook) as took:
                bench.run_until(lambda: _has_passed(bench, 1.0 + SECONDS))
            assert bench.is_streaming(), bench.commands.snapshot().sentence
            bench.service.close()
    finally:
        sys.setswitchinterval(interval_s)
    refills_ms = [one * 1000 for one in cable.cut()["refills_s"]]

    print(f"\n{'with' if is_backed_up else 'without'} a backup beside it,"
          f" {SECONDS:.0f} s at {PLANNER_LIMIT:.0f} lines a second; {len(made)} made")  # fmt: skip
    heading("the daemon's loop on the cable")
    tell("window refilled after its answer", sorted(refills_ms))
    print(f"{'  p99.9':<56} {_percentile(refills_ms, 0.999):>35.3f}")
    tell("an event written and waited for", sorted(took))


@contextmanager
def backups_without_end(logbook, is_wanted):
    """Make one backup after the other; yield how many there are by now."""
    made, is_over = [], threading.Event()

    def back_up():
        while is_wanted and not is_over.is_set():
            logbook.ask("backup")
            while logbook.ask("backups")["share"] is not None and not is_over.wait(LOOKS_EVERY_S):
                pass
            made.append(logbook.ask("backups")["kept"])

    thread = threading.Thread(target=back_up)
    thread.start()
    yield made
    is_over.set()
    thread.join()


@contextmanager
def events_timed(logbook):
    took_ms, is_over = [], threading.Event()

    def write():
        while not is_over.wait(0.5):
            began_s = time.perf_counter()
            logbook.confirm_event(1, **EVENT)
            took_ms.append((time.perf_counter() - began_s) * 1000)

    thread = threading.Thread(target=write)
    thread.start()
    yield took_ms
    is_over.set()
    thread.join()
