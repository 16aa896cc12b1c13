"""G-code read, run and compared: what the tests of etchpath share."""

import io
import math
from collections import deque
from dataclasses import replace

import numpy as np

from etchpath.language.blocks import Block
from etchpath.language.reader import read_block
from etchpath.machine import Machine
from etchpath.preflight import inspect
from etchpath.writer.dots import Order, write_job
from etchpractice.machine import PRACTICE_HEAD, PracticeMachine
from etchwire.catalogue.heads import Recipe, Register

MACHINE = Machine.of_head(PRACTICE_HEAD)
HEAD = replace(PRACTICE_HEAD, register=Register())
RECIPE = Recipe(
    surface="an invented tile", feed_mm_per_min=4000.0, power_ratio=0.6, line_spacing_mm=0.1
)
WINDOW_BYTES = 127


def machine(**changes):
    return replace(MACHINE, **changes)


def job_of(bits, *, head=HEAD, recipe=RECIPE, **commands):
    """Return the G-code and the sheet of a picture given as dots."""
    file = io.BytesIO()
    order = Order(title="a test", head=head, recipe=recipe, halftone="none", **commands)
    sheet = write_job(np.array(bits, dtype=bool), file, order)
    return file.getvalue(), sheet


def inspected(gcode, of_machine=MACHINE, **commands):
    data = gcode if isinstance(gcode, bytes) else gcode.encode("ascii")
    return inspect(io.BytesIO(data), of_machine, **commands)


def kinds_of(report):
    return {finding.kind for finding in report.findings}


def lines_of(text, of_machine=MACHINE):
    """Read a short text as one block."""
    data = text if isinstance(text, bytes) else text.encode("latin-1")
    block = Block(text=data + b"\n", first_line=1, first_byte=0, size_bytes=len(data) + 1)
    return read_block(block, of_machine)


class PracticeRun:
    """A host in memory that streams a file to a practice machine by counting characters."""

    def __init__(self, gcode, machine=None, step_s=0.002):
        self.machine = machine or PracticeMachine()
        self.machine.advance(2.0)
        self.machine.read()
        self.refusals = []
        self.seconds = 0.0
        self.lit_feeds = []  # mm/min at each step while the beam is on
        self._heard = b""
        self._in_flight = deque()
        self._run(deque(line + b"\n" for line in gcode.split() if line), step_s)

    def _run(self, lines, step_s):
        began_s = moved_s = None
        next_report_s = self.machine.now_s
        while True:
            self._send(lines)
            if self.machine.now_s >= next_report_s:
                self.machine.write(b"?")
                next_report_s += 0.2
            self.machine.advance(step_s)
            self._hear()
            stepper = self.machine.controller.engine.stepper
            is_moving = bool(stepper.segments)
            if is_moving and stepper.level:
                self.lit_feeds.append(math.hypot(*stepper.velocity()) * 60)
            if is_moving:
                began_s = self.machine.now_s if began_s is None else began_s
                moved_s = self.machine.now_s
            elif not lines and not self._in_flight:
                break
        self.seconds = moved_s - began_s

    def _send(self, lines):
        while lines and sum(self._in_flight) + len(lines[0]) <= WINDOW_BYTES:
            line = lines.popleft()
            self._in_flight.append(len(line))
            self.machine.write(line)

    def _hear(self):
        *whole, self._heard = (self._heard + self.machine.read()).split(b"\r\n")
        for reply in whole:
            if reply == b"ok" or reply.startswith(b"error"):
                self._in_flight.popleft()
                if reply != b"ok":
                    self.refusals.append(reply.decode())
