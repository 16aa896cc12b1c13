"""A plain host for the practice machine in memory: counts characters, reads replies and reports."""

import re
from collections import deque

from etchpractice.machine import PracticeMachine
from etchwire.controller.profile import EIGHT_BIT

STEP_S = 0.002
# The host builds of the firmware had a processor twenty to forty times as fast as the part's.
NEVER_THE_LIMIT = EIGHT_BIT.costs.times(1 / 1000)
REPORT = re.compile(r"<(?P<state>[^|>]+)(?P<fields>[^>]*)>")


class Report(dict):
    """A status report: its fields by name, as text, and the state under "state"."""

    @classmethod
    def of(cls, line):
        match = REPORT.fullmatch(line)
        assert match, f"no report: {line!r}"
        pairs = (field.partition(":")[::2] for field in match["fields"].split("|")[1:])
        return cls(pairs, state=match["state"])

    @property
    def feed(self):
        return float(self["FS"].split(",")[0])

    @property
    def s(self):
        return float(self["FS"].split(",")[1])

    @property
    def place(self):
        return tuple(float(part) for part in self["MPos"].split(","))

    @property
    def free_blocks(self):
        return int(self["Bf"].split(",")[0])

    @property
    def free_bytes(self):
        return int(self["Bf"].split(",")[1])


class Host:
    """Sends lines as the receive buffer allows and keeps everything that comes back."""

    def __init__(  # `longest_step_s`: how long it may let the machine be while no reply comes
        self, machine=None, window_bytes=None, step_s=STEP_S, longest_step_s=None, **options
    ):
        self.machine = machine or PracticeMachine(**options)
        self._step_s = self._next_step_s = step_s
        self._longest_step_s = longest_step_s or step_s
        room = self.machine.controller.engine.firmware.receive_bytes
        self.window_bytes = window_bytes or (127 if room == 128 else room)
        self.replies = []
        self.pushed = []
        self.reports = []
        self._unread = b""
        self._queue = deque()
        self._in_flight = deque()
        self._bytes_in_flight = 0
        self.wait(0.1)
        self.greeting = list(self.pushed)
        self.pushed.clear()

    def wait(self, seconds, report_every_s=None):
        """Let time pass, sending what fits."""
        end_s = self.machine.now_s + seconds - 1e-9
        next_report_s = self.machine.now_s
        while self.machine.now_s < end_s:
            if report_every_s is not None and self.machine.now_s >= next_report_s:
                self.machine.write(b"?")
                next_report_s += report_every_s
            self._send_what_fits()
            self.machine.advance(min(self._next_step_s, end_s + 1e-9 - self.machine.now_s))
            is_answered = self._hear()
            waits_s = self._step_s if is_answered else 2 * self._next_step_s
            self._next_step_s = min(waits_s, self._longest_step_s)

    def write(self, data, seconds=0.0):
        """Write bytes as they are, without counting."""
        self.machine.write(data)
        self.wait(seconds)

    def queue(self, *lines):
        """Put lines at the end of what is to be sent."""
        self._queue += [f"{line}\n".encode() for line in lines]

    def run(self, *lines, within_s=600.0, report_every_s=None):
        """Send lines and wait until all are answered and the machine is at rest; return seconds."""
        self.queue(*lines)
        from_s = self.machine.now_s
        while self._queue or self._in_flight or self.is_moving:
            assert self.machine.now_s - from_s < within_s, "it does not come to an end"
            self.wait(0.02 if report_every_s is None else report_every_s, report_every_s)
        return self.machine.now_s - from_s

    def ask(self, line, seconds=0.4):
        """Send one line and return its reply, everything else it brought before it."""
        self.replies.clear()
        self.pushed.clear()
        self.queue(line)
        self.wait(seconds)
        return self.replies[0] if self.replies else None

    def report(self, seconds=0.02):
        """Ask for a report and return it."""
        self.reports.clear()
        self.write(b"?", seconds)
        return self.reports[0] if self.reports else None

    @property
    def is_moving(self):
        return self.machine.controller.engine.is_going or bool(
            self.machine.controller.engine.planner.blocks
        )

    def _send_what_fits(self):
        data = b""
        while self._queue and self._bytes_in_flight + len(self._queue[0]) <= self.window_bytes:
            self._in_flight.append(len(self._queue[0]))
            self._bytes_in_flight += self._in_flight[-1]
            data += self._queue.popleft()
        if data:
            self.machine.write(data)

    def _hear(self):
        """Take down what has come, and return whether that was anything."""
        *lines, self._unread = (self._unread + self.machine.read()).split(b"\r\n")
        for line in [line.decode("latin-1") for line in lines]:
            if line == "ok" or line.startswith("error:"):
                self.replies.append(line)
                if self._in_flight:
                    self._bytes_in_flight -= self._in_flight.popleft()
            elif line.startswith("<"):
                self.reports.append(Report.of(line))
            elif line:
                self.pushed.append(line)
        return bool(lines)


def raster(rows, *, feed, pitch_mm=0.1, spacing_mm=0.1, s=600, run_up_mm=2.5, both=True):
    """Return the lines that burn `rows` (sequences of bits), each on its own run of the head."""
    lines = ["G21G90G94", "G17", "M4S0"]
    width = len(rows[0]) * pitch_mm
    for number, bits in enumerate(rows):
        forward = not (both and number % 2)
        sign = "" if forward else "-"
        start = 0.0 if forward else width + 2 * run_up_mm
        lines.append(f"G90G0X{start:.3f}Y{number * spacing_mm:.3f}")
        lines.append(f"G91G1X{sign}{run_up_mm:g}F{feed:g}S0")
        for count, lit in _runs(bits if forward else bits[::-1]):
            lines.append(f"X{sign}{_short(count * pitch_mm)}S{s if lit else 0}")
        lines.append(f"X{sign}{run_up_mm:g}S0")
    return [*lines, "M5", "G90"]


def _runs(bits):
    at = 0
    while at < len(bits):
        end = at
        while end < len(bits) and bits[end] == bits[at]:
            end += 1
        yield end - at, bits[at]
        at = end


def _short(value):
    return f"{value:.3f}".rstrip("0").rstrip(".").lstrip("0")
