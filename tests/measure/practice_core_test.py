"""What the practice machine costs in memory.

`pytest -m measure tests/measure/practice_core_test.py -s` prints it.

A dithered raster of tenths through ring, planner, segments and exposure, sent by a host that
counts characters; all of it in one thread.
"""

import random
import time

import pytest

from etchpractice.machine import PracticeMachine
from measure.costs import resident_mb
from support.harnesses.practice_host import raster

pytestmark = pytest.mark.measure

STEP_S = 0.004
WINDOW_BYTES = 127


def dithered(rows, columns, *, feed, seed=1):
    chance = random.Random(seed)
    bits = [[chance.random() < 0.5 for _ in range(columns)] for _ in range(rows)]
    return [f"{line}\n".encode() for line in raster(bits, feed=feed)]


def stream(machine, lines):
    """Send `lines` as fast as the window allows and return when the last is answered."""
    sent = used = answered = 0
    unread = b""
    while answered < len(lines):
        data = b""
        while sent < len(lines) and used + len(lines[sent]) <= WINDOW_BYTES:
            data += lines[sent]
            used += len(lines[sent])
            sent += 1
        if data:
            machine.write(data)
        machine.advance(STEP_S)
        *replies, unread = (unread + machine.read()).split(b"\r\n")
        for _ in range(replies.count(b"ok")):
            used -= len(lines[answered])
            answered += 1


@pytest.fixture(scope="module", autouse=True)
def _heading():
    print(
        f"\n{'raster':<16}{'lines':>9}{'simulated s':>13}{'cpu s':>8}{'lines/s':>10}{'x real':>8}"
    )


@pytest.mark.parametrize("feed", [2000, 4000, 8000])
def test_lines_a_second(feed):
    machine = PracticeMachine()
    machine.advance(0.1)
    machine.read()
    lines = dithered(40, 1000, feed=feed)

    from_s = time.process_time()
    stream(machine, lines)
    assert machine.tile.exposure.bounds_mm
    cpu_s = time.process_time() - from_s

    print(
        f"F{feed:<7}{len(lines):>9}{machine.now_s:>13.2f}{cpu_s:>8.2f}{len(lines) / cpu_s:>10.0f}"
        f"{machine.now_s / cpu_s:>8.1f}"
    )


def test_memory_over_many_rows():
    machine = PracticeMachine()
    machine.advance(0.1)
    machine.read()
    before_mb = resident_mb()
    stream(machine, dithered(300, 1000, feed=8000))

    print(f"300 rows of 100 mm: {resident_mb() - before_mb:.0f} MB more than before")


@pytest.mark.parametrize("mm_per_px", [0.1, 0.05])
def test_a_picture(mm_per_px):
    machine = PracticeMachine()
    machine.advance(0.1)
    machine.read()
    stream(machine, dithered(10, 1000, feed=8000))

    from_s = time.process_time()
    seen = machine.tile.reflectance(mm_per_px=mm_per_px, rectangle=(0, 0, 100, 100))
    print(f"picture of {seen.shape} pixels: {time.process_time() - from_s:.2f} s of processor")
