"""The practice machine answers as the controller firmware did when it was recorded.

Source: the recordings beside the tests, each taken once from host builds of both firmwares.
"""

from dataclasses import replace

import pytest

from support.harnesses.practice_host import Host
from support.samples.exchange_comparison import differences
from support.samples.recorded_exchange import NAMES, read

# What cannot be played, why, and which parts of the exchange are compared nevertheless.
NOT_PLAYED = {
    "10-overrides-feed-spindle": (
        "How many of twelve repeats in one piece the main loop sees one by one is a matter of"
        " timing, as the file says: two there, all of them here.",
        lambda exchange: [exchange.before("twelve feed+10")],
    ),
    "11-offsets-reset-power-32bit": (
        "The recorded program forgot its offsets with its power (its head says so); a board"
        " keeps them, and the danger of that is what the practice machine is there to show.",
        lambda exchange: [exchange.before("power cycle (")],
    ),
    "19-laser-setting-restart-32bit": (
        "In the recorded program the laser mode came into force at the next start only; its"
        " head says that a board may apply it at once.",
        lambda exchange: [exchange.since("power cycle (", "$32=1")],
    ),
    "18-laser-reports-32bit": (
        "With the laser mode off reports go over to S 0 while the output stays on. The daemon"
        " starts nothing in that mode.",
        lambda exchange: [exchange.before("$32=0")],
    ),
    "15-homing": (
        "The recorded program works its switches at a step only: after a power cycle on the"
        " switches it shows them open until the head moves.",
        lambda exchange: [
            exchange.before("power cycle: locked again"),
            exchange.since("reset while homing", "$22=1", "[power cycle]", "$H"),
        ],
    ),
}


@pytest.mark.parametrize("name", NAMES)
def test_the_practice_machine_answers_as_was_recorded(name):
    _, parts = NOT_PLAYED.get(name, ("", lambda exchange: [exchange]))

    assert [odd for part in parts(read(name)) for odd in differences(part)] == []


@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
def test_offsets_outlive_the_power_and_the_machine_s_zero_does_not(firmware):
    host = Host(firmware=firmware)
    host.run("G91G0X10Y5", "G10L20P1X0Y0")

    host.machine.reset_now()
    host.wait(0.1)

    host.ask("$#")
    assert "[G54:10.000,5.000,0.000]" in host.pushed
    assert host.report().place == (0.0, 0.0, 0.0)


def test_no_more_than_six_exchanges_are_not_played():
    assert len(NOT_PLAYED) <= 6


@pytest.mark.parametrize("name", NOT_PLAYED)
def test_what_is_not_played_would_really_be_answered_otherwise(name):
    assert differences(read(name)) != []


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("09-check-mode", ("error:8", "ok")),
        ("05-soft-reset", ("MPos:3.000", "MPos:3.013")),
        ("05-soft-reset", ("<Alarm", "<Idle")),
        ("03-hold-resume-dynamic", ("<Hold:0", "<Hold:1")),
        ("10-overrides-rapid-rest-32bit", ("Ov:110,50,90", "Ov:110,50,100")),
        ("11-offsets-set", ("WCO:9.000", "WCO:8.000")),
    ],
)
def test_one_wrong_figure_in_a_recording_would_be_found(name, wrong):
    exchange = read(name)
    entries = tuple(
        replace(entry, text=entry.text.replace(*wrong)) if entry.kind == "<" else entry
        for entry in exchange.entries
    )

    assert differences(replace(exchange, entries=entries)) != []
