"""Exchanges recorded from the controller firmware: read, and played to the practice machine."""

import re
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path

from etchpractice.firmware.firmware import FIRMWARES
from etchpractice.machine import PracticeMachine

FOLDER = Path(__file__).parents[2] / "recordings"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.txt")))

BOOT_S = 0.6
ROUND_TRIP_S = 0.008  # of a line or a request and its answer; the files leave out waits so short
POLLED_EVERY_S = 0.05  # in files that leave out longer waits as well

# Where the switches stood, in mm from where the head was when power came first.
NO_SWITCHES_MM = ((-inf, inf),) * 3
SWITCHES_MM = {
    "15-homing": ((-inf, 30.0), (-inf, 30.0), (-inf, 5.0)),
    "15-homing-direction": ((-30.0, 30.0), (-30.0, 30.0), (-inf, inf)),
    "15-hard-limit": ((-inf, 30.0), (-inf, 30.0), (-inf, inf)),
}


EVENTS = {
    "power cycle": lambda machine: machine.reset_now(BOOT_S),
    "door opened": lambda machine: machine.open_door_pin(),
    "door closed": lambda machine: machine.close_door_pin(),
    "limit switch X pressed by hand": lambda machine: machine.press_limits(0),
    "limit switch X let go": lambda machine: machine.press_limits(),
    "limit switches X and Y stuck closed": lambda machine: machine.press_limits(0, 1),
    "limit switches let go": lambda machine: machine.press_limits(),
}


@dataclass(frozen=True, slots=True)
class Entry:
    """What was sent, heard or done: `kind` is the file's mark, `text` what stands behind it."""

    kind: str
    text: str
    wait_s: float = 0.0

    @property
    def is_report(self):
        """Whether this is a report that was heard."""
        return self.kind == "<" and self.text.startswith("<")


@dataclass(frozen=True, slots=True)
class Exchange:
    """One file: its head by keyword, and its entries in order."""

    name: str
    head: str
    set_up: tuple[str, ...]
    entries: tuple[Entry, ...]

    @property
    def is_32_bit(self):
        return self.name.endswith("-32bit")

    @property
    def is_polled(self):
        """Whether reports were asked for in a steady rhythm, beside the lines."""
        return "are left out of this file" in self.head

    @property
    def timed_entries(self):
        """Every entry with the time since the first, in seconds."""
        at_s, was_sent = 0.0, False
        for entry in self.entries:
            least_s = 0.0
            if self.is_polled:
                least_s = POLLED_EVERY_S if "status" in entry.text else 0.0
            elif was_sent and entry.kind == "<":
                least_s = ROUND_TRIP_S
            at_s += max(entry.wait_s, least_s)
            was_sent = entry.kind != "<" and (was_sent or entry.kind != "#")
            yield entry, at_s

    def before(self, text):
        """Return the exchange as far as the entry that begins with `text`."""
        return replace(self, entries=self.entries[: self._place_of(text)])

    def since(self, text, *set_up):
        """Return the exchange from the entry that begins with `text` on, after more of a set-up."""
        entries = self.entries[self._place_of(text) :]
        return replace(self, entries=entries, set_up=(*self.set_up, *set_up))

    def _place_of(self, text):
        return next(at for at, entry in enumerate(self.entries) if entry.text.startswith(text))

    @property
    def after(self):
        """The exchange this one goes on from, or None."""
        match = re.match(r"continues after ([\w-]+)", self.set_up[0]) if self.set_up else None
        return read(match[1]) if match else None


def read(name):
    """Return the exchange in the file of this name."""
    text = (FOLDER / f"{name}.txt").read_text("ascii")
    head = "\n".join(line for line in text.splitlines() if line.startswith("# "))
    set_up = re.search(r"^# set-up: (.*)$", text, re.MULTILINE)[1]
    steps = [] if set_up.startswith("none") else [step.strip() for step in set_up.split(";")]
    return Exchange(name, head, tuple(step for step in steps if step), tuple(_entries(text)))


def _entries(text):
    wait_s = 0.0
    for line in text.splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "@":
            wait_s += float(rest)
        elif kind in (">", ">_", "!", "<", "*"):
            yield Entry(kind, rest, wait_s)
            wait_s = 0.0
        elif count := re.match(r"# sent: (\d+), ok received by now: (\d+)", line):
            yield from [Entry(">", "X5")] * int(count[1])
            yield from [Entry("<", "ok")] * int(count[2])
        elif kind == "#":
            yield Entry("#", rest)


def _bytes(text):
    return text.encode("ascii").decode("unicode_escape").encode("latin-1")


def _machine_for(exchange):
    """Return a practice machine with factory settings, of the build that was recorded."""
    firmware = "32-bit" if exchange.is_32_bit else "8-bit"
    machine = PracticeMachine(firmware=firmware, settings=FIRMWARES[firmware].settings)
    controller = machine.controller
    if exchange.name.startswith("06-door-switch"):
        build = tuple(
            line.replace("OPT:V,", "OPT:V+,") for line in controller.engine.firmware.build
        )
        controller.engine.firmware = replace(controller.engine.firmware, build=build)
    if exchange.name == "15-homing":  # the usual build homes Z first; the others have none of it
        controller.engine.firmware = replace(
            controller.engine.firmware, homing_cycles=((2,), (0, 1))
        )
    controller.engine.limits.ends = list(SWITCHES_MM.get(exchange.name, NO_SWITCHES_MM))
    return machine


class Player:
    """A host that sends what was sent, when it was sent, to a practice controller."""

    def __init__(self, exchange):
        self.exchange = exchange
        self.machine = _machine_for(exchange)
        self.heard = []
        self._unread = b""
        self._wait(0.2)
        if exchange.after:
            before = Player(exchange.after)
            before.play()
            self.machine = before.machine
        else:
            self._set_up()
        self.heard.clear()

    def play(self):
        """Return all the lines that came back."""
        due, played_s = 0, 0.0
        is_polled = self.exchange.is_polled
        for entry, at_s in self.exchange.timed_entries:
            if entry.kind == "#":
                continue
            if entry.kind == "<":
                due += not entry.text.startswith("<")
                continue
            self._wait(at_s - played_s)
            played_s = at_s
            if not (is_polled and entry.kind == "!"):
                self._wait_for(due, within_s=20.0)
            self._do(entry)
        self._wait(0.5)
        self._wait_for(due, within_s=20.0)
        return self.heard

    def _set_up(self):
        for step in self.exchange.set_up:
            self.heard.clear()
            if step == "[power cycle]":
                EVENTS["power cycle"](self.machine)
                self._wait(2 * BOOT_S)
            else:
                self.machine.write(step.encode() + b"\n")
                self._wait_for(1, within_s=5.0)
                self._wait(0.1)

    def _do(self, entry):
        if entry.kind in (">", ">_"):
            end = b"\n" if entry.kind == ">" else b""
            self.machine.write(_bytes(entry.text) + end)
        elif entry.kind == "!":
            self.machine.write(bytes([int(entry.text.split()[-1], 16)]))
        elif entry.kind == "*":
            EVENTS[entry.text.partition(" (")[0]](self.machine)
        if entry.kind == ">" and "an empty line was sent after each error" in self.exchange.head:
            self._clear_error()

    def _clear_error(self):
        """Send the empty line that the file does not show, and forget its answer."""
        count = len(self._answers())
        self._wait_for(count + 1, within_s=0.5)
        if self._answers()[-1:] and self._answers()[-1].startswith("error"):
            kept = len(self.heard)
            self.machine.write(b"\n")
            self._wait(0.02)
            del self.heard[kept:]

    def _answers(self):
        return [line for line in self.heard if not line.startswith("<")]

    def _wait_for(self, count, within_s):
        end_s = self.machine.now_s + within_s
        while len(self._answers()) < count and self.machine.now_s < end_s:
            self._wait(0.002)

    def _wait(self, seconds):
        self.machine.advance(seconds)
        *lines, self._unread = (self._unread + self.machine.read()).split(b"\r\n")
        self.heard += [line.decode("latin-1") for line in lines]
