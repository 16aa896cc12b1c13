"""What the processes of a practice session hold in memory while a picture is etched."""

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.measure
PRACTICE = (sys.executable, "-m", "etchwarden", "practice", "--once", "--width", "40")


def resident_mb(pid):
    status = Path(f"/proc/{pid}/status").read_text()
    return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1000


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
