"""A box with much to do beside the guard: page and phones, a photo, a logbook on a slow disk.

The threads that are measured have the priority that the daemon's unit gives it; the rest has the
ordinary one, and the photo a lower one.
"""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, contextmanager
from pathlib import Path

from etchpractice.scenario.script import Picture
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.scenario_job import write_grey
from etchwarden.practice_session.session import Session
from support.harnesses.broker import free_port
from support.harnesses.logbooks import Disk, logbook_on, start_run
from support.samples.photo_files import PHOTOGRAPHS

UNIT = Path(__file__).parents[2] / "systemd" / "etchwarden-daemon@.service"
SESSION = Path("/proc/self/autogroup")
NICE = re.compile(r"^Nice=(-?\d+)$", re.MULTILINE)
COMMIT_S = 0.1  # what a slow card takes for an fsync
NOTE_EVERY_S = 0.05
PHOTO = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
EVENT = {"at_utc": "2026-11-25T17:02:01+00:00", "kind": "warning", "text": "Load.", "details": {}}
PREPARE_FOR_EVER = """
import subprocess, sys
while True:
    subprocess.run([sys.executable, "-m", "etchwarden", "prepare", *sys.argv[1:]], check=True,
                   stdout=subprocess.DEVNULL)
"""


class SlowDisk(Disk):
    """Every commit lasts a tenth of a second longer than the disk needs; the thread sleeps."""

    def before_commit(self):
        time.sleep(COMMIT_S)
        super().before_commit()


@contextmanager
def busy_box(folder, *, seconds=600):
    """Keep the computer busy, and yield the logbook that is being written all the time."""
    interval_s = sys.getswitchinterval()
    sys.setswitchinterval(0.001)  # as the daemon does
    with ExitStack() as parts:
        parts.callback(sys.setswitchinterval, interval_s)
        household = parts.enter_context(ProcessGroup(folder))
        session = Session(household, folder)
        write_grey(Picture(rows=20, columns=200), folder=session.job)
        session.start_machine("--speedup", "1")
        port = free_port()
        session.start_page(port)
        phones = Path(__file__).with_name("page_phones.py")
        run_beside(parts, [sys.executable, str(phones), str(port), str(seconds)])
        out = str(folder / "prepared")
        prepare = [PREPARE_FOR_EVER, str(PHOTO), "-o", out, "--width", "50", "--replace"]
        run_beside(parts, ["nice", "-n", "10", sys.executable, "-c", *prepare])
        parts.enter_context(priority_of_the_daemon())
        logbook = parts.enter_context(logbook_on(SlowDisk(folder / "slow.sqlite3")))
        write_for_ever(parts, logbook)
        yield logbook


@contextmanager
def priority_of_the_daemon():
    """Give this thread, and those it starts, the `Nice=` of the unit; say so where it may not.

    Where Linux groups processes by their session, a nice value counts within the session alone;
    as a service the daemon has a weight of fifteen for that (`CPUWeight=1500`), which is the same.
    """
    before, nice = os.getpriority(os.PRIO_PROCESS, 0), int(NICE.search(UNIT.read_text())[1])
    try:
        os.setpriority(os.PRIO_PROCESS, 0, nice)
        weigh_session(nice)
    except PermissionError:
        print("\nat the ordinary priority, because this user may set no higher one")
    yield
    os.setpriority(os.PRIO_PROCESS, 0, before)
    weigh_session(0)


def weigh_session(nice):
    if SESSION.exists():
        SESSION.write_text(str(nice))


def run_beside(parts, words):
    process = subprocess.Popen(
        words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    parts.callback(process.wait)
    parts.callback(os.killpg, process.pid, signal.SIGKILL)  # and whoever it has started


def write_for_ever(parts, logbook):
    """Note something twenty times a second, so that a commit is always under way."""
    run, is_over = start_run(logbook), threading.Event()

    def write():
        while not is_over.wait(NOTE_EVERY_S):
            logbook.note_event(run, at_s=1.0, **EVENT)

    thread = threading.Thread(target=write)
    thread.start()
    parts.callback(thread.join)
    parts.callback(is_over.set)
