"""The practice machine as a process, by a plain host.

`pytest -m measure tests/measure/practice_link_test.py -s` prints it.

How true its time is at 1, how fast it is beyond, and whether its planner ever ran short because
the host was not waited for.
"""

import os
import re
import select
import subprocess
import sys
import time

import pytest

from etchwire.simulated_time import SimulatedTime
from measure.practice_core_test import WINDOW_BYTES, dithered

pytestmark = pytest.mark.measure

GREETING = b"help]\r\n"
ROW_REPORT = re.compile(rb"<Run[^>]*Bf:(\d+)")


class PlainHost:
    """Gathers for 4 ms of machine time, then one read and one write."""

    def __init__(self, folder, speedup):
        self.clock = SimulatedTime(folder / "clock")
        self._gather_s = 0.004 / speedup
        self._port = os.open(folder / "port", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        unread = b""
        while not unread.endswith(GREETING):
            unread += self._gather()

    def _gather(self):
        select.select([], [], [], self._gather_s)
        try:
            return os.read(self._port, 4096)
        except BlockingIOError:
            return b""

    def stream(self, lines):
        """Return simulated seconds, bytes in flight at most, and free blocks in each report."""
        sent = used = answered = 0
        unread, free_blocks, next_report_s = b"", [], 0.0
        from_s = self.clock.now_s
        while answered < len(lines):
            data = b""
            while sent < len(lines) and used + len(lines[sent]) <= WINDOW_BYTES:
                data += lines[sent]
                used += len(lines[sent])
                sent += 1
            if self.clock.now_s >= next_report_s:
                data += b"?"
                next_report_s = self.clock.now_s + 0.2
            if data:
                os.write(self._port, data)
            *heard, unread = (unread + self._gather()).split(b"\r\n")
            for _ in range(heard.count(b"ok")):
                used -= len(lines[answered])
                answered += 1
            free_blocks += [int(found[1]) for line in heard if (found := ROW_REPORT.match(line))]
        return self.clock.now_s - from_s, free_blocks

    def close(self):
        os.close(self._port)


@pytest.fixture
def host_at(tmp_path):
    started = []

    def begin(speedup):
        folder = tmp_path / "machine"
        command = [sys.executable, "-m", "etchwarden", "machine", "--folder", str(folder)]
        process = subprocess.Popen([*command, "--speedup", str(speedup)])
        while not (folder / "control.sock").is_socket():
            time.sleep(0.02)
        host = PlainHost(folder, speedup)
        started.append((process, host))
        return host, process

    yield begin
    for process, host in started:
        host.close()
        process.terminate()
        process.wait()


def cpu_s(process):
    with open(f"/proc/{process.pid}/stat") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@pytest.mark.parametrize(("speedup", "rows"), [(1, 6), (20, 40), (1000, 40)])
def test_a_raster_through_the_terminal(host_at, speedup, rows):
    host, process = host_at(speedup)
    lines = dithered(rows, 600, feed=4000)
    used_s, from_s = cpu_s(process), time.perf_counter()

    simulated_s, free_blocks = host.stream(lines)

    wall_s, used_s = time.perf_counter() - from_s, cpu_s(process) - used_s
    short = sum(1 for blocks in free_blocks[2:-2] if blocks > 3)
    print(
        f"\nspeedup {speedup}: {len(lines)} lines, {simulated_s:.2f} s simulated in {wall_s:.2f}, "
        f"{simulated_s / wall_s:.1f} times; {used_s:.2f} s of the machine's processor; "
        f"{short} of {len(free_blocks)} reports with more than three free blocks"
    )


def test_the_link_s_limit_at_the_wall_s_pace(host_at):
    host, process = host_at(1)
    host.stream([b"$C\n", b"G91G1F4000\n"])
    lines = [b"X.1S500\n", b"X.1S0\n"] * 5000
    used_s, from_s = cpu_s(process), time.perf_counter()

    simulated_s, _ = host.stream(lines)

    wall_s, used_s = time.perf_counter() - from_s, cpu_s(process) - used_s
    share = sum(map(len, lines)) / simulated_s / 11520
    print(
        f"\ncheck mode: {len(lines) / simulated_s:.0f} lines/s, {share:.1%} of the line; simulated "
        f"{simulated_s:.3f} s in {wall_s:.3f} s; {used_s / wall_s:.0%} of a core for the machine"
    )
