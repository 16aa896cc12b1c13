"""A power cut at the practice machine: what is lost, what stays, and a head pushed meanwhile."""

import pytest

from etchpractice.machine import PracticeMachine


@pytest.fixture(params=["8-bit", "32-bit"])
def machine(request):
    made = PracticeMachine(firmware=request.param, slack_mm=0.0)
    made.advance(1.0)
    made.read()
    return made


def say(machine, line, *, wait_s=1.0):
    """Send a line and return what is answered."""
    machine.write(line.encode() + b"\n")
    machine.advance(wait_s)
    return machine.read().decode()


def test_the_tables_stay_and_the_place_counts_from_zero(machine):
    """As in tests/recordings/11-offsets-reset-power.txt; a real 32-bit board keeps them too."""
    say(machine, "G1X10Y5F3000", wait_s=2.0)
    say(machine, "G10L20P1X1Y2")

    machine.lose_power()
    machine.advance(2.0)
    machine.get_power()
    machine.advance(2.0)
    greeting = machine.read().decode()

    assert "for help]" in greeting or "to unlock]" in greeting
    assert "[G54:9.000,3.000,0.000]" in say(machine, "$#")
    assert "MPos:0.000,0.000" in say(machine, "?")
    assert machine.head_mm == pytest.approx((10.0, 5.0))


def test_without_power_nothing_is_said_or_done(machine):
    say(machine, "G1X300F3000", wait_s=0.5)

    machine.lose_power()
    place_mm = machine.head_mm
    answers = say(machine, "?\n$#", wait_s=3.0)

    assert answers == ""
    assert machine.head_mm == place_mm
    assert not machine.is_burning


def test_a_head_is_pushed_only_without_power_and_nobody_counts_it(machine):
    with pytest.raises(ValueError, match="motors hold"):
        machine.push_head(1.0, 1.0)

    machine.lose_power()
    machine.push_head(-21.8, 13.4)
    machine.get_power()
    machine.advance(2.0)
    machine.read()

    assert machine.head_mm == pytest.approx((-21.8, 13.4))
    assert "MPos:0.000,0.000" in say(machine, "?")


def test_opening_the_port_gives_no_power(machine):
    machine.lose_power()

    machine.open_port()

    assert say(machine, "?") == ""
