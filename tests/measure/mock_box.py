"""A guard with its thread on gpiozero's mock pins, for measurements.

As with lgpio, edges are delivered by a thread that waits on a pipe.
"""

import os
import threading
import time

from gpiozero.pins.mock import MockFactory

from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.guard.guard import Guard
from etchdaemon.hardware.clock import SystemClock
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.hardware.gpio_board import GpioBoard
from etchdaemon.hardware.looking import looking
from etchdaemon.interlocks.conditions.extraction import ExtractionTimes
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import Setup
from etchdaemon.interlocks.start.starting import StartRequest
from support.harnesses.interlock_bench import ANSWERS, DAY, NOON

INPUTS = {"lid": 16, "flame": 20, "stop_circuit": 21, "arm_button": 25}
OUTPUTS = {"beam_enable": 22, "extraction": 23, "heartbeat": 24}


class MockBox:
    """Steered by a thread that does nothing else."""

    def __init__(self, stack, *, has_edges=True):
        self.factory = MockFactory()
        pins = PinMap(
            chip_label="mock",
            inputs={name: Pin(number) for name, number in INPUTS.items()},
            outputs={name: Pin(number) for name, number in OUTPUTS.items()},
        )
        for number in INPUTS.values():
            self.factory.pin(number).input_with_pull("floating")
        doorbell = EventDoorbell()
        board = GpioBoard(pins, self.factory, clock=SystemClock(), doorbell=doorbell)
        for name, number in INPUTS.items():
            if name != "arm_button":
                self.line(number).drive_high()
            if not has_edges:
                self.line(number).when_changed = None
        wired = frozenset(map(Input, INPUTS)) | frozenset(map(Output, OUTPUTS))
        setup = Setup(wired=wired, extraction=ExtractionTimes(purge_s=1.0), stable_s=0.02)
        self.woken_at_s = 0.0
        self.guard = Guard(
            InterlockEngine(setup), board, SystemClock(), wake=self.wake, ask_for_look=doorbell.ring
        )
        self.is_steering = True
        stack.callback(self.stop_loop_signs)
        self.steering = threading.Thread(target=self.steer)
        self.steering.start()
        stack.enter_context(looking(self.guard.monitor.look, doorbell))
        self.reader, self.writer = os.pipe()
        self.delivering = threading.Thread(target=self.deliver)
        self.delivering.start()
        stack.callback(self.stop_delivering)
        self.beam = Watched(self.line(OUTPUTS["beam_enable"]))

    def line(self, number):
        return self.factory.pin(number)

    def wake(self):
        self.woken_at_s = time.perf_counter()

    def steer(self):
        while self.is_steering:
            self.guard.note_loop_alive()
            self.guard.verdict()
            time.sleep(0.004)

    def stop_loop_signs(self):
        self.is_steering = False
        self.steering.join()

    def deliver(self):
        while os.read(self.reader, 1) == b"o":
            self.line(INPUTS["lid"]).drive_low()

    def open_lid(self):
        os.write(self.writer, b"o")

    def stop_delivering(self):
        os.write(self.writer, b"e")
        self.delivering.join()
        os.close(self.reader)
        os.close(self.writer)

    def get_ready(self):
        until(lambda: not self.guard.operator.report(day=DAY).trips)
        time.sleep(0.3)
        self.guard.operator.arm(ANSWERS, day=DAY)
        until(lambda: self.guard.operator.report(day=DAY).arming.step.startswith("waiting"))
        self.press()
        until(lambda: self.guard.operator.report(day=DAY).phase == "armed")
        until(lambda: self.guard.operator.report(day=DAY).extraction == "The extraction runs.")
        self.guard.begin_run(StartRequest(lasts_s=60, starts_at=NOON))

    def press(self):
        self.line(INPUTS["arm_button"]).drive_high()
        time.sleep(0.15)
        self.line(INPUTS["arm_button"]).drive_low()
        time.sleep(0.03)

    def burn(self):
        self.guard.allow()
        until(lambda: self.beam.line.state)

    def reset(self):
        self.line(INPUTS["lid"]).drive_high()
        until(self.was_reset)

    def was_reset(self):
        try:
            self.guard.operator.reset(["lid closed"])
        except Exception:  # noqa: BLE001 - not good again yet
            return False
        return True


class Watched:
    """Notes when a mock pin goes low."""

    def __init__(self, line):
        self.line = line
        self.went_low = threading.Event()
        self.at_s = 0.0
        change = line._change_state

        def noting(value):
            changed = change(value)
            if changed and not value:
                self.at_s = time.perf_counter()
                self.went_low.set()
            return changed

        line._change_state = noting


def until(holds):
    deadline_s = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < deadline_s, "the bench did not get there"
        time.sleep(0.005)
