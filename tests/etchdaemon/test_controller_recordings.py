"""Whatever the controllers were recorded to say, the link understands.

Source: the recordings beside the tests, from host builds of both firmwares.
"""

import pytest

from etchdaemon.controller.events import (
    AlarmRaised,
    Greeted,
    StatusReported,
    Unreadable,
)
from etchdaemon.controller.firmware import EIGHT_BIT, THIRTY_TWO_BIT
from etchdaemon.controller.link import Link
from support.harnesses.practice_host import Report
from support.samples.exchange_comparison import place_of
from support.samples.recorded_exchange import NAMES, read


def events_of(exchange):
    """Return every recorded answer, and what the link makes of it."""
    link = Link()
    answers = [entry.text for entry in exchange.entries if entry.kind == "<"]
    return [(answer, link.receive(answer.encode() + b"\r\n")) for answer in answers]


@pytest.mark.parametrize("name", NAMES)
def test_every_recorded_answer_is_understood(name):
    odd = [
        answer
        for answer, events in events_of(read(name))
        if answer and (len(events) != 1 or isinstance(events[0], Unreadable))
    ]

    assert odd == []


@pytest.mark.parametrize("name", NAMES)
def test_every_recorded_report_tells_its_state_place_and_speed(name):
    for answer, events in events_of(read(name)):
        if not answer.startswith("<"):
            continue
        report, seen = Report.of(answer), events[0]
        assert isinstance(seen, StatusReported)
        substate = "" if seen.substate is None else f":{seen.substate}"
        assert report["state"] == seen.state + substate
        assert place_of(report) == (seen.machine_mm if "MPos" in report else seen.work_mm)
        if "FS" in report:
            assert (seen.feed_mm_per_min, seen.power_setting) == (report.feed, report.s)
        if "Bf" in report:
            assert (seen.planner_free_blocks, seen.receive_free_bytes) == (
                report.free_blocks,
                report.free_bytes,
            )


@pytest.mark.parametrize("name", NAMES)
def test_every_recorded_greeting_tells_the_firmware(name):
    firmware = THIRTY_TWO_BIT if name.endswith("-32bit") else EIGHT_BIT
    greeted = [e for _, events in events_of(read(name)) for e in events if isinstance(e, Greeted)]

    assert {event.firmware for event in greeted} <= {firmware}


def test_the_recorded_alarms_are_those_that_end_in_a_restart():
    numbers = {
        event.code
        for name in NAMES
        for _, events in events_of(read(name))
        for event in events
        if isinstance(event, AlarmRaised)
    }

    assert numbers == {1, 2, 3, 6, 8, 9}
