"""The status report: key:value pairs between angle brackets, unknown ones ignored."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from etchdaemon.controller.events import Place, StatusReported

STATES: Final = frozenset(
    "Idle Run Hold Jog Home Alarm Check Door Sleep Tool".split()  # noqa: SIM905 - reads as a list
)
# What single precision and 32 bits can come to: more digits are noise, and would read as infinite.
_NUMBER: Final = re.compile(r"[+-]?(\d{1,39}(\.\d*)?|\.\d+)")
_MOST_WHOLE_DIGITS: Final = 10


def parse_report(text: str) -> StatusReported:
    """Return what stands between the brackets; raise ValueError for anything else."""
    head, *fields = text.split("|")
    state, _, substate = head.partition(":")
    if state not in STATES:
        raise ValueError(f"{state!r} is no state")
    report = StatusReported(state=state, substate=parse_whole(substate) if substate else None)
    for field in fields:
        key, colon, value = field.partition(":")
        if not colon:
            raise ValueError(f"{field!r} is no field")
        if key in _FIELDS:
            report = _FIELDS[key](report, value)
    return report


def parse_number(text: str) -> float:
    """Return a plain decimal number; raise ValueError for what Python alone would take."""
    if _NUMBER.fullmatch(text) is None:
        raise ValueError(f"{text!r} is no number")
    return float(text)


def parse_whole(text: str) -> int:
    """Return an unsigned whole number; raise ValueError for anything else."""
    if not (text.isascii() and text.isdigit() and len(text) <= _MOST_WHOLE_DIGITS):
        raise ValueError(f"{text!r} is no whole number")
    return int(text)


def parse_numbers(text: str) -> Place:
    """Return numbers parted by commas."""
    return tuple(parse_number(part) for part in text.split(","))


def parse_place(text: str) -> Place:
    """Return coordinates parted by commas; raise ValueError for fewer than two."""
    place = parse_numbers(text)
    if len(place) < 2:
        raise ValueError(f"{text!r} is no place")
    return place


def _whole_numbers(text: str, count: int) -> list[int]:
    numbers = [parse_whole(part) for part in text.split(",")]
    if len(numbers) != count:
        raise ValueError(f"{text!r} should be {count} numbers")
    return numbers


def _with_buffers(report: StatusReported, text: str) -> StatusReported:
    blocks, free_bytes = _whole_numbers(text, 2)
    return replace(report, planner_free_blocks=blocks, receive_free_bytes=free_bytes)


def _with_feed_and_power(report: StatusReported, text: str) -> StatusReported:
    feed, _, power = text.partition(",")
    power, _, _ = power.partition(",")  # the 32-bit firmware may add the measured speed
    return replace(report, feed_mm_per_min=parse_number(feed), power_setting=parse_number(power))


def _with_overrides(report: StatusReported, text: str) -> StatusReported:
    feed, rapid, power = _whole_numbers(text, 3)
    return replace(report, overrides_percent=(feed, rapid, power))


_FIELDS: Final[Mapping[str, Callable[[StatusReported, str], StatusReported]]] = {
    "MPos": lambda report, value: replace(report, machine_mm=parse_place(value)),
    "WPos": lambda report, value: replace(report, work_mm=parse_place(value)),
    "WCO": lambda report, value: replace(report, offset_mm=parse_place(value)),
    "Bf": _with_buffers,
    "FS": _with_feed_and_power,
    "F": lambda report, value: replace(report, feed_mm_per_min=parse_number(value)),
    "Pn": lambda report, value: replace(report, pins=value),
    "Ov": _with_overrides,
}
