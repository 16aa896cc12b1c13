"""What streaming costs: `pytest -m measure tests/measure/link_cost_test.py -s` prints it.

The daemon's loop with its real port, clock and doorbell, against a cable of 115200 baud
(link_sink), beside a plain send-and-wait loop on the same cable; loop and cable have the priority
of the daemon's unit. ETCHWARDEN_MEASURE_S sets how long each figure is taken for.
"""

import json
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from etchdaemon.hardware.clock import SystemClock
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.hardware.serial_port import SerialPort, opener
from etchdaemon.service.command_queue import CommandQueue
from etchdaemon.service.job.reentry import Reentry
from etchdaemon.service.job.spool import Spool
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.loop import Service
from etchpath.writer.dots import Order, write_job
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Recipe
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from measure.busy_box import priority_of_the_daemon
from measure.costs import heading, tell
from measure.link_sink import BYTES_PER_S
from rig.bench import patch
from rig.memory import MemoryPreflight, MemoryRecords, MemoryRests
from rig.unguarded import Unguarded
from support.harnesses.calls import call_of

pytestmark = pytest.mark.measure

SECONDS = float(os.environ.get("ETCHWARDEN_MEASURE_S", "10"))
LINK_LIMIT = 0.0  # lines a second: as many as the cable brings
PLANNER_LIMIT = 500.0


class Cable:
    """The sink as a process of its own."""

    def __init__(self, lines_per_s):
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("link_sink.py")), str(lines_per_s)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.path = self._process.stdout.readline().strip()

    def cut(self):
        """Return what the other end saw."""
        told, _ = self._process.communicate()
        return json.loads(told)


class Contact:
    has_settled = True

    def allow(self):
        pass

    def cut(self):
        pass


class Bench:
    """The loop in this thread, as the daemon's main thread runs it."""

    def __init__(self, folder, cable, guard=Unguarded, records=None):
        self.bell = EventDoorbell()
        spool = Spool(folder / "spool")
        reentry = Reentry(history=MemoryRecords(), spool=spool, rests=MemoryRests())
        self.commands = CommandQueue(spool=spool, doorbell=self.bell, reentry=reentry)
        contact = Contact()
        self.guard = guard(contact)
        self.service = Service(
            machine=Machine(open_port=opener(cable.path), beam=contact, port_name=cable.path),
            commands=self.commands,
            clock=SystemClock(),
            records=records or MemoryRecords(),
            guard=self.guard,
            preflight=MemoryPreflight(),
        )

    def run_until(self, holds):
        while not holds():
            self.service.step()
            self.bell.wait(self.service.patience_s)

    def ask(self, command, **arguments):
        request = self.commands.submit(call_of(command, **arguments))
        self.run_until(lambda: request.is_answered)
        return request.answer(0)

    def start(self, folder):
        self.run_until(lambda: "set_origin" in self.commands.snapshot().may)
        self.ask("set_origin")
        with (folder / GCODE_NAME).open("rb") as gcode, (folder / SHEET_NAME).open("rb") as sheet:
            self.ask("load", gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())
        self.ask("start")

    def is_streaming(self):
        return self.commands.snapshot().state == "etching"


@pytest.fixture(autouse=True)
def _priority():
    with priority_of_the_daemon():
        yield


@pytest.fixture
def job(tmp_path):
    """A job of single tenths, seven bytes a line on the whole, longer than any figure takes."""
    folder = tmp_path / "job"
    folder.mkdir()
    recipe = Recipe(surface="none", feed_mm_per_min=4000.0, power_ratio=0.6, line_spacing_mm=0.1)
    order = Order(
        title="tenths",
        head=PRACTICE_HEADS["practice-20w"],
        recipe=recipe,
        halftone="none",
        is_both_directions=False,
    )
    with (folder / GCODE_NAME).open("wb") as file:
        sheet = write_job(patch(round(SECONDS * 1.9) + 2, 1000), file, order)
    (folder / SHEET_NAME).write_text(sheet.to_json())
    return folder


def _percentile(values, share):
    ordered = sorted(values)
    return ordered[int(len(ordered) * share)] if ordered else float("nan")


def _stream(folder, job, lines_per_s):
    cable = Cable(lines_per_s)
    bench = Bench(folder, cable)
    bench.start(job)
    bench.run_until(lambda: _has_passed(bench, 1.0))
    wall_s, cpu_s = time.monotonic(), time.process_time()
    bench.run_until(lambda: _has_passed(bench, 1.0 + SECONDS))
    wall_s, cpu_s = time.monotonic() - wall_s, time.process_time() - cpu_s
    assert bench.is_streaming(), bench.commands.snapshot().sentence
    ended_s = time.monotonic()
    bench.service.close()
    return cable.cut(), wall_s, cpu_s, ended_s


def _has_passed(bench, seconds):
    run = bench.commands.snapshot().run
    return run is not None and run.elapsed_s >= seconds


def _tell(title, seen, wall_s, cpu_s, ended_s):
    window = [(at, count) for at, count in seen["arrived"] if ended_s - wall_s <= at <= ended_s]
    (from_s, from_bytes), (to_s, to_bytes) = window[0], window[-1]
    bytes_per_s = (to_bytes - from_bytes) / (to_s - from_s)
    lines = bytes_per_s * wall_s * seen["lines"] / seen["bytes"]
    print(
        f"{title:<28} {bytes_per_s / BYTES_PER_S:7.2%} {lines / wall_s:8.0f}"
        f" {cpu_s / lines * 1e6:9.1f} {cpu_s / wall_s:8.2%}"
        f" {_percentile(seen['refills_s'], 0.5) * 1000:9.2f}"
        f" {_percentile(seen['refills_s'], 0.99) * 1000:7.2f}"
        f" {_percentile(seen['refills_s'], 0.999) * 1000:7.2f}"
        f" {seen['lost_bytes']:5d}"
    )


def _heading():
    print(
        f"\n{'loop and limit':<28} {'of link':>7} {'lines/s':>8} {'µs/line':>9} {'core':>8}"
        f" {'refill50':>9} {'p99':>7} {'p99.9':>7} {'lost':>5}"
    )


def _send_and_wait(job, lines_per_s):
    """The plainest loop there is: a line, its answer, the next line."""
    cable = Cable(lines_per_s)
    port = SerialPort(cable.path)
    sent = 0
    with (job / GCODE_NAME).open("rb") as lines:
        begun_s, cpu_s = time.monotonic(), time.process_time()
        for line in lines:
            port.write(line)
            heard = b""
            while b"ok\r\n" not in heard:
                time.sleep(0.0002)
                heard += port.read_waiting()
            sent += 1
            if time.monotonic() - begun_s > SECONDS:
                break
    wall_s, cpu_s = time.monotonic() - begun_s, time.process_time() - cpu_s
    ended_s = time.monotonic()
    port.close()
    return cable.cut(), wall_s, cpu_s, ended_s


def test_streaming_against_the_cables_and_the_planners_limit(tmp_path, job):
    _heading()
    for name, limit in (("link limit", LINK_LIMIT), ("500 lines a second", PLANNER_LIMIT)):
        _tell(f"daemon, {name}", *_stream(tmp_path, job, limit))
        _tell(f"send and wait, {name}", *_send_and_wait(job, limit))


def test_how_soon_a_feed_hold_is_on_the_cable(tmp_path, job):
    """From the wish in another thread to the byte behind a full window, at the link limit."""
    cable = Cable(LINK_LIMIT)
    bench = Bench(tmp_path, cable)
    bench.start(job)
    asked_at_s = []

    def ask_now_and_then():
        for _ in range(60):
            time.sleep(0.03 + 0.001 * (len(asked_at_s) % 7))
            asked_at_s.append(time.monotonic())
            bench.commands.request(call_of("hold_now"))
            while bench.commands.snapshot().state != "held":
                time.sleep(0.002)
            bench.commands.request(call_of("resume"))
            while bench.commands.snapshot().state != "etching":
                time.sleep(0.002)

    asker = threading.Thread(target=ask_now_and_then)
    asker.start()
    bench.run_until(lambda: not asker.is_alive())
    bench.service.close()
    heard_at_s = cable.cut()["holds_at_s"]
    late_ms = sorted(
        (heard - asked) * 1000 for asked, heard in zip(asked_at_s, heard_at_s, strict=True)
    )
    heading("feed hold on the cable")
    tell("from the wish to the byte, window full", late_ms)
