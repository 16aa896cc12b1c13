"""The rig on the wall's time, every part in a thread of its own, with a real logbook.

Loop and guard run in their threads; the controller is the practice machine in memory, moved on
by a third thread at the wall's pace.
"""

import threading
import time

from etchdaemon.guard.guard import Guard
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.hardware.opened import OpenedInputs
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.conditions.extraction import ExtractionTimes
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from measure.mock_box import until
from rig.guarded import BoardInMemory, GuardedRig
from support.harnesses.calls import as_table, call_of

STEP_S = 0.002


class LiveBoard(BoardInMemory):
    """The practice machine's board with edges that ring at once."""

    def __init__(self, board, clock, bell, lock):
        super().__init__(board, clock)
        self.opened = OpenedInputs(bell)
        self.beat_at_s = 0.0
        self._lock = lock

    def read(self):
        with self._lock:
            return super().read()

    def take_opened(self):
        return self.opened.take()

    def set(self, output, *, is_on):
        with self._lock:
            super().set(output, is_on=is_on)
        if output is Output.HEARTBEAT:
            self.beat_at_s = time.perf_counter()

    def open(self, name):
        with self._lock:
            self._board.set_input(name, level=False)
        self.opened.note(Input(name), Edge(self._clock.wall_s(), self._clock.now_s()))


class LiveRig(GuardedRig):
    """The rig on the wall's time: every part in a thread of its own."""

    def __init__(self, folder, logbook):
        self.logbook = logbook
        super().__init__(folder)

    def make_records(self):
        return self.logbook

    def make_guard(self):
        self.lock = threading.RLock()
        self.bell, self.loop_bell = EventDoorbell(), EventDoorbell()
        self.steps = 0
        setup = Setup(wired=EVERYTHING, extraction=ExtractionTimes(purge_s=1.0))
        self.live = LiveBoard(self.machine.board, self.clock, self.bell, self.lock)
        return Guard(
            InterlockEngine(setup),
            self.live,
            self.clock,
            wake=self.loop_bell.ring,
        )

    def run_live(self):
        self.is_over = False
        write, read = self.machine.write, self.machine.read

        def writing(data):
            with self.lock:
                for byte in (b"!", b"\x18"):
                    if byte in data:
                        self.sent_at_s.setdefault(byte, time.perf_counter())
                write(data)

        def reading():
            with self.lock:
                return read()

        self.sent_at_s = {}
        self.machine.write, self.machine.read = writing, reading
        self.threads = [threading.Thread(target=part) for part in (self.pass_time, self.loop)]
        for thread in self.threads:
            thread.start()

    def pass_time(self):
        last_s = time.monotonic()
        while not self.is_over:
            time.sleep(STEP_S)
            now_s = time.monotonic()
            with self.lock:
                self.machine.advance(min(now_s - last_s, 0.02))
            last_s = now_s

    def loop(self):
        while not self.is_over:
            self.service.step()
            self.loop_bell.wait(self.service.patience_s)

    def stop_live(self):
        self.is_over = True
        for thread in self.threads:
            thread.join()

    def ask(self, command, **arguments):
        return as_table(self.commands.request(call_of(command, **arguments)))

    def wait_until(self, holds, **_):
        until(holds)

    def press_button(self):
        with self.lock:
            self.board.press_button()
