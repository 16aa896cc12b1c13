"""Overrides: spaced, read back, tried again, and given up."""

from itertools import pairwise

import pytest

from etchdaemon.controller.events import StatusReported
from etchdaemon.controller.realtime import FEED_STEPS, POWER_STEPS
from etchdaemon.errors import CommandRefused
from etchdaemon.run.overrides import Override, Overrides


def _report(feed, power=100):
    return StatusReported(state="Run", overrides_percent=(feed, 100, power))


def _drain(overrides, from_s=0.0):
    """Return the bytes that go out and when, looking every ten milliseconds."""
    sent = []
    for hundredth in range(100):
        now_s = from_s + hundredth / 100
        byte = overrides.next_byte(now_s)
        if byte is not None:
            sent.append((round(now_s, 2), byte))
    return sent


def test_bytes_are_at_least_fifty_milliseconds_apart():
    """12 bytes in one write made 200 % of 220 in both firmwares: measured on host builds."""
    overrides = Overrides()

    overrides.request(Override.FEED, 122)

    times = [at_s for at_s, _ in _drain(overrides)]
    assert len(times) == 4
    assert all(b - a >= 0.05 for a, b in pairwise(times))


def test_nothing_is_sent_while_everything_is_as_wanted():
    overrides = Overrides()
    overrides.request(Override.POWER, 100)

    assert _drain(overrides) == []


def test_what_was_reached_is_read_back_and_left_alone():
    overrides = Overrides()
    overrides.request(Override.FEED, 110)
    _drain(overrides)

    overrides.note_report(_report(110), asked_at_s=2.0)

    assert _drain(overrides, 3.0) == []
    assert overrides.failed is None


def test_a_report_asked_for_before_the_last_byte_proves_nothing():
    overrides = Overrides()
    overrides.request(Override.FEED, 110)
    assert overrides.next_byte(1.0) == FEED_STEPS[10]

    overrides.note_report(_report(100), asked_at_s=0.9)

    assert overrides.next_byte(2.0) is None


def test_a_byte_that_was_lost_is_sent_again():
    overrides = Overrides()
    overrides.request(Override.POWER, 80)
    _drain(overrides)

    overrides.note_report(_report(100, power=90), asked_at_s=2.0)

    assert [byte for _, byte in _drain(overrides, 3.0)] == [POWER_STEPS[-10]]


def test_a_lever_that_never_moves_is_given_up_after_three_attempts():
    overrides = Overrides()
    overrides.request(Override.FEED, 90)
    for attempt in range(3):
        assert len(_drain(overrides, 10.0 * attempt)) == 1
        overrides.note_report(_report(100), asked_at_s=10.0 * attempt + 5)

    assert overrides.failed is Override.FEED
    assert _drain(overrides, 100.0) == []


@pytest.mark.parametrize("percent", [9, 201])
def test_what_no_firmware_allows_is_refused(percent):
    with pytest.raises(CommandRefused, match="from 10 to 200"):
        Overrides().request(Override.FEED, percent)
