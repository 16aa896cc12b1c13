"""A stand-in for the lgpio library, for computers without it: takes notes of every claim.

Its names and constants are those of lgpio 0.2.2.0, as far as gpiozero touches them.
"""

# ruff: noqa: ARG002 - the signatures are the library's

import threading
from types import ModuleType

CONSTANTS = {
    "SET_PULL_NONE": 128, "SET_PULL_UP": 32, "SET_PULL_DOWN": 64, "BOTH_EDGES": 3,
    "RISING_EDGE": 1, "FALLING_EDGE": 2,
}  # fmt: skip


class FakeLgpio(ModuleType):
    """Levels by line, a trace of calls, and one thread for edges that an exception ends."""

    class error(Exception):  # noqa: N801 - the library's name
        """The library's one exception."""

    def __init__(self):
        super().__init__("lgpio")
        self.__dict__.update(CONSTANTS)
        self.trace = []
        self.levels = {}
        self.modes = {}
        self.callbacks = {}
        self._notify_thread = threading.Thread(target=lambda: None)

    def gpiochip_open(self, number):
        self.trace.append(("open", number))
        return 1

    def gpiochip_close(self, handle):
        self.trace.append(("close", handle))

    def gpio_claim_input(self, handle, line, flags=0):
        self.trace.append(("input", line, flags))
        self.modes[line] = 0

    def gpio_claim_output(self, handle, line, level=0, flags=0):
        self.trace.append(("output", line, level))
        self.modes[line] = 2
        self.levels[line] = level

    def gpio_claim_alert(self, handle, line, edges, flags=0, notify=None):
        self.trace.append(("alert", line, flags))

    def gpio_set_debounce_micros(self, handle, line, micros):
        self.trace.append(("debounce", line, micros))

    def gpio_get_mode(self, handle, line):
        return self.modes.get(line, 0)

    def gpio_free(self, handle, line):
        self.trace.append(("free", line))

    def gpio_read(self, handle, line):
        return self.levels.get(line, 0)

    def gpio_write(self, handle, line, level):
        self.trace.append(("write", line, int(level)))
        self.levels[line] = int(level)

    def callback(self, handle, line, edges, function):
        self.callbacks[line] = function
        return Cancellable()


class Cancellable:
    """What lgpio returns for a callback."""

    def cancel(self):
        pass
