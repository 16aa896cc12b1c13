"""Exchanges recorded from the controller firmware: read, and played to the practice machine."""

import re
from dataclasses import dataclass, replace
from pathlib import Path

from etchpractice.firmware import FIRMWARES
from etchpractice.machine import PracticeMachine
from practice_host import Report

FOLDER = Path(__file__).parent / "recordings"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.txt")))

BOOT_S = 0.6
ROUND_TRIP_S = 0.008  # of a report and its request; the files leave out waits this short
POLLED_EVERY_S = 0.05  # in files that leave out longer waits as well
STOPS = ("feed-hold", "door", "jog-cancel", "reset", "stop")
IN_MOTION = ("Run", "Jog", "Home", "Hold:1", "Door:2")
COUNTED = ("WCO", "Ov", "A", "WCS", "H", "TLR")  # shown every so many reports
STOP_PLACE_MM = 8.0  # as far as two stops of one motion may lie apart
READ_AHEAD_BYTES = 2  # of a line cut in two by a hold
ROUNDING_MM = 0.0015


@dataclass(frozen=True, slots=True)
class Entry:
    """What was sent, heard or done: `kind` is the file's mark, `text` what stands behind it."""

    kind: str
    text: str
    wait_s: float = 0.0


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


def _bytes(text):
    return text.encode("ascii").decode("unicode_escape").encode("latin-1")


def _machine_for(exchange):
    """Return a practice machine with factory settings, of the build that was recorded."""
    firmware = "32-bit" if exchange.is_32_bit else "8-bit"
    machine = PracticeMachine(firmware=firmware, settings=FIRMWARES[firmware].settings)
    if exchange.name.startswith("06-door-switch"):
        controller = machine.controller
        build = tuple(line.replace("OPT:V,", "OPT:V+,") for line in controller.firmware.build)
        controller.firmware = replace(controller.firmware, build=build)
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
        due, waited_s = 0, 0.0
        is_polled = "are left out of this file" in self.exchange.head
        for entry in self.exchange.entries:
            waited_s += entry.wait_s
            if entry.kind == "<":
                due += not entry.text.startswith("<")
                waited_s += ROUND_TRIP_S if entry.text.startswith("<") and not entry.wait_s else 0
                continue
            is_poll = is_polled and "status" in entry.text
            self._wait(max(waited_s, POLLED_EVERY_S if is_poll else 0.0))
            waited_s = 0.0
            self._wait_for(due, within_s=20.0)
            self._do(entry)
        self._wait(max(waited_s, 0.5))
        self._wait_for(due, within_s=20.0)
        return self.heard

    def _set_up(self):
        for step in self.exchange.set_up:
            self.heard.clear()
            if step == "[power cycle]":
                self._power_cycle()
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
        elif entry.text.startswith("power cycle"):
            self._power_cycle()
        elif entry.text == "door opened":
            self.machine.open_door_pin()
        elif entry.text == "door closed":
            self.machine.close_door_pin()
        if entry.kind == ">" and self._is_cleared_after(entry):
            self._clear_error()

    def _power_cycle(self):
        self.machine.reset_now(BOOT_S)

    def _is_cleared_after(self, _entry):
        return "empty line was sent after each error and is not shown" in self.exchange.head

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


def recorded_answers(exchange):
    """Return what the firmware answered, reports included."""
    return [entry.text for entry in exchange.entries if entry.kind == "<"]


def other_than_reports(lines):
    """Return the answers that are no reports, in order."""
    return [line for line in lines if not line.startswith("<")]


def reports(lines):
    """Return the reports among `lines`, in order."""
    return [Report.of(line) for line in lines if line.startswith("<")]


def seen_states(shown):
    """Return what reports say of state and motion, as far as it does not hang on timing.

    In motion that is the state and which fields there are, at rest their values too. A state
    that several reports show counts once.
    """
    seen = []
    for report in shown:
        fields = {name: text for name, text in report.items() if name not in COUNTED}
        if is_in_motion(report):
            fields = dict.fromkeys(fields) | {"state": report["state"].replace("Idle", "Run")}
        else:
            fields |= dict.fromkeys(name for name in ("MPos", "WPos") if name in fields)
            if "Bf" in fields:
                fields["Bf"] = report.free_blocks
        if [fields] != seen[-1:]:
            seen.append(fields)
    return seen


def is_in_motion(report):
    """Return whether the machine moves, or is about to: blocks wait, and nothing holds them."""
    waits = report["state"] == "Idle" and "Bf" in report and report.free_blocks not in (15, 100)
    return waits or report["state"] in IN_MOTION


def stops_before_reports(exchange):
    """Return for each recorded report how often the motion was cut short before it."""
    stops, counts = 0, []
    for entry in exchange.entries:
        stops += entry.text.startswith((*STOPS, "ALARM"))
        if entry.text.startswith("<") and entry.kind == "<":
            counts.append(stops)
    return counts


def odd_places(exchange, recorded, heard):
    """Return the reports of rest, each with its twin, whose places do not fit together.

    Two stops of one motion do not end at the same place, and all that comes after is shifted.
    """
    shift, shifted_at, odd = (0.0, 0.0, 0.0), 0, []
    for stops, one, other in zip(stops_before_reports(exchange), recorded, heard, strict=False):
        if is_in_motion(one) or is_in_motion(other):
            continue
        apart = tuple(b - a for a, b in zip(place_of(one), place_of(other), strict=True))
        if not any(_is_near(apart, known, ROUNDING_MM) for known in (shift, (0.0, 0.0, 0.0))):
            if stops == shifted_at or not _is_near(apart, shift, STOP_PLACE_MM):
                odd.append((one, other))
            shift, shifted_at = apart, stops
    return odd


def odd_rooms(recorded, heard):
    """Return the pairs of reports at rest that do not show the same room for bytes."""
    return [
        (one, other)
        for one, other in zip(recorded, heard, strict=False)
        if "Bf" in one
        and not (is_in_motion(one) or is_in_motion(other))
        and abs(one.free_bytes - other.free_bytes) > READ_AHEAD_BYTES
    ]


def place_of(report):
    """Return the place a report tells, in machine or in work coordinates."""
    return tuple(float(part) for part in report.get("MPos", report.get("WPos")).split(","))


def _is_near(one, other, by_mm):
    return all(abs(a - b) <= by_mm for a, b in zip(one, other, strict=True))


def counted_fields(shown, name, at_first):
    """Return the values that a field which comes by count went through."""
    values = [at_first, *(report[name] for report in shown if name in report)]
    return [
        value for value, before in zip(values, [None, *values], strict=False) if value != before
    ]


def odd_accessories(recorded, heard):
    """Return the pairs of reports at rest that both tell of accessories, and not the same."""
    return [
        (one, other)
        for one, other in zip(recorded, heard, strict=False)
        if "Ov" in one
        and "Ov" in other
        and not (is_in_motion(one) or is_in_motion(other))
        and one.get("A", "") != other.get("A", "")
    ]
