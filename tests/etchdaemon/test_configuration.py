"""The configuration: what is right is read, what is wrong has a name and a hint."""

import json
import re
from datetime import time

import pytest

from etchdaemon.configuration.loading import load_configuration, read_configuration
from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.report import report_of
from etchdaemon.interlocks.rules.rule_table import Air
from etchwire.configuration.faults import FaultyConfiguration, Reason
from support.harnesses.interlock_bench import MINIMUM

MINIMAL = """
[board]
chip = "pinctrl-rp1"
[inputs.lid]
pin = 16
[outputs.beam_enable]
pin = 22
[outputs.extraction]
pin = 23
"""
FULL = """
[board]
chip = "pinctrl-bcm2711"
[inputs]
lid = {pin = 16}
lid_second = {pin = 17}
pressure_above_low = {pin = 18}
pressure_below_high = {pin = 19}
flame = {pin = 20, closed = "low"}
stop_circuit = {pin = 21}
temperature = {pin = 24}
arm_button = {pin = 25}
loop_closed = {pin = 26, normally = "closed"}
[outputs]
beam_enable = {pin = 22, active = "low"}
extraction = {pin = 23}
lamp = {pin = 27}
buzzer = {pin = 5}
heartbeat = {pin = 6}
[extraction]
purge_s = 20
clearing_s = 300
after_fire = "on"
after_fire_because = "the duct is of steel and the fan outside"
[attendance]
round_every_min = 30
answer_within_min = 3
closing_time = "18:30"
closing_time_is_firm = false
[interlocks]
stable_s = 1
flame_confirm_s = 0.3
flame_confirm_because = "the detector sees the welder next door"
[laser]
beam_enable_settle_s = 2.5
[rules.fumes_extracted]
trip_delay_s = 1.5
because = "the paddle flutters"
"""


def test_the_small_shops_minimum_is_a_configuration():
    read = read_configuration(MINIMAL)

    assert read.setup.wired == MINIMUM
    assert read.pins.inputs["lid"] == Pin(16)


def test_every_entry_arrives_where_it_belongs():
    read = read_configuration(FULL)
    setup = read.setup

    assert len(setup.wired) == 14
    assert read.pins.outputs["beam_enable"] == Pin(22, is_high_on=False)
    assert read.pins.inputs["flame"] == Pin(20, is_high_on=False)
    assert (setup.extraction.purge_s, setup.extraction.clearing_s) == (20, 300)
    assert setup.attendance.closing_time == time(18, 30)
    assert not setup.attendance.is_closing_time_firm
    assert (setup.stable_s, setup.beam_enable_settle_s) == (1, 2.5)
    assert setup.flame_confirm_s == 0.3


def test_the_rules_in_force_are_the_written_ones():
    rules = {rule.name: rule for rule in InterlockEngine(read_configuration(FULL).setup).rules}

    assert rules["fumes extracted"].trip_delay_s == 1.5
    assert rules["no flame or smoke"].air is Air.ON


def test_what_is_set_otherwise_is_shown_beside_its_rule_with_the_reason():
    interlocks = InterlockEngine(read_configuration(FULL).setup)
    report = report_of(interlocks, day="2026-05-04", now_s=1.0)
    changed = {
        rule.name: rule.changed.removeprefix("Set otherwise for this box: ")
        for rule in report.rules
        if rule.changed
    }

    assert changed == {
        "fumes extracted": "it waits 1.5 s, because the paddle flutters.",
        "no flame or smoke": "extraction on and a flame is an emergency once confirmed (0.3 s), "
        "because the duct is of steel and the fan outside; the detector sees the welder next door.",
    }


@pytest.mark.fault("configuration wrong")
def test_a_box_without_a_lid_contact_is_read_but_only_watches():
    text = MINIMAL.replace("[inputs.lid]\npin = 16\n", "")
    interlocks = InterlockEngine(read_configuration(text).setup)

    with pytest.raises(CommandRefused, match="only watches"):
        interlocks.arm({}, day="2026-05-04", now_s=1.0)


def test_an_empty_file_is_a_box_that_only_watches():
    assert read_configuration("").setup.wired == frozenset()


FAULTS = [
    ("[board", Reason.NOT_TOML, ""),
    ("[inputs.lid]\npin = 1\n[inputs.lid]\npin = 2", Reason.NOT_TOML, ""),
    ("inputs = 3", Reason.NOT_A_TABLE, "inputs"),
    ("[inputs]\nlid = 16", Reason.NOT_A_TABLE, "inputs.lid"),
    ("[imputs.lid]\npin = 16", Reason.UNKNOWN_NAME, "“inputs”"),
    ("[inputs.lidd]\npin = 16", Reason.UNKNOWN_NAME, "“lid”"),
    ("[inputs.lid]\npin = 16\nactive = 'high'", Reason.UNKNOWN_NAME, "inputs.lid.active"),
    ("[outputs.laser]\npin = 16", Reason.UNKNOWN_NAME, "outputs.laser"),
    ("[extraction]\npurge = 5", Reason.UNKNOWN_NAME, "“purge_s”"),
    ("[rules.lid_close]\noff = true", Reason.UNKNOWN_NAME, "“lid_closed”"),
    ("[inputs.lid]", Reason.NO_PIN, "inputs.lid.pin"),
    ("[inputs.lid]\npin = '16'", Reason.WRONG_KIND, "whole number"),
    ("[inputs.lid]\npin = 16.0", Reason.WRONG_KIND, "whole number"),
    ("[inputs.lid]\npin = true", Reason.WRONG_KIND, "whole number"),
    ("[inputs.lid]\npin = -1", Reason.OUT_OF_RANGE, "from 0 to 53"),
    ("[inputs.lid]\npin = 54", Reason.OUT_OF_RANGE, "from 0 to 53"),
    ("[inputs.lid]\npin = 16", Reason.NO_CHIP, "pinctrl-rp1"),
    ("[board]\nchip = 4", Reason.WRONG_KIND, "text"),
    ("[inputs.lid]\npin = 16\nclosed = 'on'", Reason.OUT_OF_RANGE, "high, low"),
    ("[inputs.lid]\npin = 16\nnormally = 'open'", Reason.NORMALLY_OPEN, "wire cut"),
    (
        "[inputs.lid]\npin = 16\n[inputs.flame]\npin = 16",
        Reason.PIN_TWICE,
        "pin 16 is already the one of “lid”",
    ),
    (
        "[inputs.lid]\npin = 16\n[outputs.beam_enable]\npin = 16",
        Reason.PIN_TWICE,
        "already",
    ),
    ("[inputs.lid_second]\npin = 16", Reason.SECOND_LID_ALONE, "called “lid”"),
    ("[inputs.pressure_above_low]\npin = 16", Reason.HALF_A_WINDOW, "both switches"),
    ("[inputs.pressure_below_high]\npin = 16", Reason.HALF_A_WINDOW, "both switches"),
    (
        "[inputs]\nair_flow = {pin = 1}\npressure_above_low = {pin = 2}\n"
        "pressure_below_high = {pin = 3}",
        Reason.TWO_PROOFS_OF_AIR,
        "either",
    ),
    ("[rules.lid_closed]\noff = true", Reason.RULE_REMOVED, "the lid rule cannot be removed"),
    ("[rules.no_flame_or_smoke]\noff = true", Reason.RULE_REMOVED, "cannot be removed"),
    ("[rules.fumes_extracted]\ntrip_delay_s = -1\nbecause='x'", Reason.OUT_OF_RANGE, "from 0 to 2"),
    ("[rules.fumes_extracted]\ntrip_delay_s = 3\nbecause='x'", Reason.OUT_OF_RANGE, "from 0 to 2"),
    ("[rules.cool_enough]\ntrip_delay_s = nan\nbecause='x'", Reason.OUT_OF_RANGE, "from 0 to 1"),
    ("[rules.fumes_extracted]\ntrip_delay_s = 1", Reason.NO_REASON, "few words"),
    ("[interlocks]\nflame_confirm_s = 0.3", Reason.NO_REASON, "flame_confirm_because"),
    (
        "[interlocks]\nflame_confirm_s = 0.6\nflame_confirm_because='x'",
        Reason.OUT_OF_RANGE,
        "from 0 to 0.5",
    ),
    (
        "[rules.lid_closed]\ntrip_delay_s = 0.1\nbecause = 'it rattles'",
        Reason.DELAY_NOT_ALLOWED,
        "at once",
    ),
    ("[extraction]\npurge_s = -5", Reason.OUT_OF_RANGE, "from 1 to 600"),
    ("[extraction]\npurge_s = inf", Reason.OUT_OF_RANGE, "from 1 to 600"),
    ("[extraction]\nafter_fire = 'on'", Reason.NO_REASON, "few words"),
    ("[extraction]\nafter_fire = 'maybe'", Reason.OUT_OF_RANGE, "off, on"),
    ("[attendance]\nclosing_time = 'tea'", Reason.OUT_OF_RANGE, "18:30"),
    ("[attendance]\nclosing_time = 18:30:00", Reason.WRONG_KIND, "text"),
    ("[attendance]\nclosing_time_is_firm = 1", Reason.WRONG_KIND, "true or false"),
    ("[attendance]\nround_every_min = 0", Reason.OUT_OF_RANGE, "from 20 to 30"),
    ("[interlocks]\nstable_s = 0", Reason.OUT_OF_RANGE, "from 0.2 to 10"),
    ("[laser]\nbeam_enable_settle_s = '2'", Reason.WRONG_KIND, "number"),
]


@pytest.mark.fault("configuration wrong")
@pytest.mark.parametrize(("text", "reason", "said"), FAULTS)
def test_a_fault_has_its_name_and_says_what_to_do(text, reason, said):
    with pytest.raises(FaultyConfiguration) as refused:
        read_configuration(text)

    assert reason in [fault.reason for fault in refused.value.faults]
    assert said in str(refused.value)


def test_every_reason_but_those_of_a_whole_file_and_of_the_page_is_in_the_table():
    """Those are in `tests/etchwarden/test_unfit_files.py` and `test_page_settings.py`."""
    of_files = {
        Reason.UNREADABLE, Reason.ABSENT, Reason.NO_FILE, Reason.FORBIDDEN, Reason.TOO_LONG,
        Reason.EMPTY, Reason.NOT_TEXT, Reason.NOT_TOML,
    }  # fmt: skip
    of_the_page = {Reason.MISSING, Reason.UNFIT_FILE_NAMED}

    assert {reason for _, reason, _ in FAULTS} | of_files | of_the_page == set(Reason)


def test_port_and_laser_are_read():
    read = read_configuration(
        "[machine]\nport = '/dev/serial/by-id/usb-1'\n[head]\nname = 'ten'\nrated_optical_w = 10\n"
        "spot_x_mm = 0.08\nspot_y_mm = 0.06\nis_spot_measured = false\nmax_s = 1000\n"
        "max_feed_mm_per_min = 6000\nacceleration_mm_per_s2 = 500\n"
        "travel_x_mm = 400\ntravel_y_mm = 400\n"
    )

    assert read.port == "/dev/serial/by-id/usb-1"
    assert read.head is not None
    assert read.head.travel_x_mm == 400.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[machine]\nprot = '/dev/ttyUSB0'", "Did you mean “port”?"),
        ("[machine]\nport = 'ttyUSB0'", "/dev/serial/by-id"),
        ("[head]\nname = 'ten'\nmax_spot = 3", "Did you mean “max_s”?"),
        ("[head]\nname = 'ten'", "lacks the entry"),
    ],
)
def test_an_unfit_port_or_laser_is_named(text, said):
    with pytest.raises(FaultyConfiguration, match=re.escape(said)):
        read_configuration(text)


def test_all_faults_are_named_at_once():
    text = "[inputs.lid]\npin = 99\n[extraction]\npurge_s = 'long'\n[latches]\n"

    with pytest.raises(FaultyConfiguration) as refused:
        read_configuration(text)

    reasons = {fault.reason for fault in refused.value.faults}
    assert reasons == {Reason.OUT_OF_RANGE, Reason.WRONG_KIND, Reason.UNKNOWN_NAME}


def test_a_configuration_is_loaded_from_its_file(tmp_path):
    path = tmp_path / "left.toml"
    path.write_text(FULL)

    assert load_configuration(path).setup.inputs >= {Input.LID, Input.LID_SECOND}


def test_the_pin_map_for_the_program_that_drives_all_safe_holds_the_outputs(tmp_path):
    pins = read_configuration(FULL).pins
    pins.write(tmp_path / "pins.json")

    read = PinMap.of_outputs(json.loads((tmp_path / "pins.json").read_text()))

    assert (read.chip_label, read.outputs) == (pins.chip_label, pins.outputs)
    assert set(read.outputs) == {name.value for name in Output}
