"""The settings that matter, in sentences; they are read and never written."""

import pytest

from etchdaemon.controller.events import StatusReported
from etchdaemon.controller.facts import Facts
from etchdaemon.controller.firmware import EIGHT_BIT
from etchdaemon.controller.setting_list import MATTERS, settings_of
from etchdaemon.controller.settings import Settings
from support.harnesses.calls import as_table

GOOD = {
    1: "255", 10: "3", 13: "0", 20: "0", 21: "0", 22: "0", 30: "1000.", 32: "1",
    110: "6000.000", 111: "5000.000", 120: "1000.000", 121: "900.000", 130: "400.000",
    131: "380.000",
}  # fmt: skip


def told(**state):
    values = {**GOOD, **state.pop("values", {})}
    report = StatusReported(state=state.pop("state", "Idle"))
    facts = Facts(firmware=EIGHT_BIT, greeting="", report=report, settings=Settings(values))
    return as_table(settings_of(facts))


def entry(shown, name):
    return next(one for one in shown["settings"] if one["name"] == name)


def test_every_setting_that_matters_has_its_value_and_a_sentence():
    shown = told()

    assert shown["is_read"]
    assert [one["name"] for one in shown["settings"]] == [matter.name for matter in MATTERS]
    assert all(one["is_good"] and one["sentence"].endswith(".") for one in shown["settings"])
    assert entry(shown, "greatest speed")["values"] == ["6000.000", "5000.000"]


@pytest.mark.parametrize(
    ("name", "number", "value"),
    [
        ("laser mode", 32, "0"),
        ("laser mode", 32, "2"),
        ("full power", 30, "0"),
        ("motors at rest", 1, "25"),
        ("units of reports", 13, "1"),
        ("what reports hold", 10, "1"),
    ],
)
def test_a_setting_that_spoils_an_etch_is_not_good_and_says_why(name, number, value):
    shown = told(values={number: value})

    assert not entry(shown, name)["is_good"]
    assert entry(shown, name)["sentence"] != entry(told(), name)["sentence"] or name == "full power"


def test_motors_that_let_go_at_rest_are_warned_of():
    assert told()["warnings"] == []
    assert any("motors" in text for text in told(values={1: "25"})["warnings"])


def test_what_forbids_an_etch_is_said():
    assert any("laser mode" in text for text in told(values={32: "0"})["refusals"])


@pytest.mark.parametrize("value", ["", "x", "255.0.0"])
def test_a_value_that_is_no_number_is_shown_as_it_is(value):
    assert entry(told(values={1: value}), "motors at rest")["values"] == [value]


def test_a_controller_that_says_nothing_is_not_good():
    report = StatusReported(state="Idle")
    shown = as_table(settings_of(Facts(firmware=EIGHT_BIT, greeting="", report=report)))

    assert not any(one["is_good"] for one in shown["settings"])
    assert entry(shown, "travel")["values"] == [None, None]


def test_a_controller_that_could_not_be_asked_has_no_settings():
    assert settings_of(None).settings == ()
    assert not told(state="Door")["is_read"]


@pytest.mark.parametrize(
    ("values", "soft", "hard"),
    [
        ({20: "0", 21: "0", 22: "0"}, "does not know the ends", "stop nothing outside homing"),
        ({20: "0", 21: "1", 22: "1"}, "does not know the ends", "run onto stops the machine"),
        ({20: "1", 21: "0", 22: "1"}, "before it leaves its travel", "stop nothing"),
        ({20: "1", 21: "1", 22: "1"}, "before it leaves its travel", "run onto stops"),
    ],
)
def test_soft_and_hard_limits_are_told_apart(values, soft, hard):
    shown = told(values=values)

    assert soft in entry(shown, "soft limits")["sentence"]
    assert hard in entry(shown, "hard limits")["sentence"]


def test_soft_limits_without_homing_are_no_good():
    """The firmware refuses this with error 10; settings copied whole may hold it all the same."""
    assert not entry(told(values={20: "1", 22: "0"}), "soft limits")["is_good"]


def test_a_machine_without_switches_is_told_that_its_origin_moves_with_the_power():
    assert "is another place" in entry(told(values={22: "0"}), "homing")["sentence"]
