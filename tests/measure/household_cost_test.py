"""What the processes of a household cost: to start, at rest, and while a picture is etched."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from measure.costs import resident_mb
from support.kills.household import KillableHouse
from support.kills.moments import wait_for

pytestmark = pytest.mark.measure
REST_S = 20.0
PRACTICE = (sys.executable, "-m", "etchwarden", "practice", "--once", "--width", "40")


def processor_s(pid):
    """Return what a process has used of the processor, and the children that it has waited for."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(int(field) for field in fields[11:15]) / os.sysconf("SC_CLK_TCK")  # proc(5)


def test_cold_start_of_the_daemon_and_both_processes_at_rest(tmp_path):
    house = KillableHouse(tmp_path)
    try:
        for start in range(5):  # on a logbook of its own, and then on one that is there
            began_s = time.monotonic()
            house.start_daemon()
            with house.daemon() as client:
                client.call("status")
                pid = house.pid_of("daemon")
                answered_s, took_s = processor_s(pid), time.monotonic() - began_s
                wait_for(client, lambda status: status["machine"]["link"] == "ready")
                print(
                    f"\nstart {start + 1}: answers after {answered_s:.2f} s of processor time"
                    f" ({took_s:.2f} s), and has got to know the machine after"
                    f" {processor_s(pid):.2f} s",
                    end="",
                )
            if start < 4:
                house.kill("daemon")
        house.start_page()
        house.page("/")
        time.sleep(REST_S)
        resident = {name: resident_mb(house.pid_of(name)) for name in ("daemon", "page")}
        told = ", ".join(f"{name} {mb:.1f} MB" for name, mb in resident.items())
        print(f"\nat rest: {told}, together {sum(resident.values()):.1f} MB resident")
    finally:
        house.end()


def children_of(pid):
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        yield Path(f"/proc/{child}/cmdline").read_text().split("\0")[3], int(child)


def test_memory_of_daemon_and_practice_machine_while_etching():
    most = {}
    with subprocess.Popen(PRACTICE, stdout=subprocess.PIPE, text=True) as session:
        while session.poll() is None:
            try:
                for name, pid in children_of(session.pid):
                    most.setdefault(name, []).append(resident_mb(pid))
            except (FileNotFoundError, ProcessLookupError, TypeError, IndexError):
                pass  # one of them is just beginning or ending
            time.sleep(0.5)
        print(f"\n{session.stdout.read()}")

    for name, seen_mb in most.items():
        half_mb, end_mb, most_mb = seen_mb[len(seen_mb) // 2], seen_mb[-1], max(seen_mb)
        print(
            f"{name:<10} half way {half_mb:6.1f} MB, end {end_mb:6.1f} MB, most {most_mb:6.1f} MB"
        )
    assert "daemon" in most
