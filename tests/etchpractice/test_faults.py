"""Everything a test can make go wrong on the cable, in the controller and with its power."""

import random

import pytest

from etchpractice.machine import Unplugged
from support.harnesses.practice_host import Host


@pytest.fixture
def host():
    return Host()


def test_a_refused_line_does_not_run_and_the_next_does(host):
    host.machine.faults.refuse_next_line(20)

    host.run("G91G0X1", "G91G0X2")

    assert host.replies == ["error:20", "ok"]
    assert host.report().place[0] == 2


def test_withheld_replies_come_when_they_are_released(host):
    host.machine.faults.withhold_replies()
    host.queue("G91G0X1", "X1")
    host.wait(0.5)
    assert host.replies == []
    assert host.report().place[0] == 2

    host.machine.release_replies()
    host.wait(0.1)

    assert host.replies == ["ok", "ok"]


def test_a_lost_reply_is_the_only_one_missing(host):
    host.machine.faults.lose_next_reply()

    host.queue("G91G0X1", "X1", "X1")
    host.wait(0.5)

    assert host.replies == ["ok", "ok"]
    assert host.report().place[0] == 3


def test_an_extra_reply_answers_nothing(host):
    host.machine.extra_reply()
    host.wait(0.1)

    assert host.replies == ["ok"]


def test_a_silent_machine_works_on(host):
    host.machine.fall_silent()
    host.queue("G91G0X5")
    host.wait(1)
    assert host.report() is None

    host.machine.speak_again()

    assert host.report().place[0] == 5


def test_delayed_replies_come_late_and_in_order(host):
    host.machine.delay_replies(0.5)
    host.write(b"$G\n?", 0.45)
    assert host.replies == host.reports == []

    host.wait(0.15)

    assert host.replies == ["ok"]
    assert len(host.reports) == 1


def test_a_garbled_line_still_parses_and_leads_elsewhere(host):
    host.machine.faults.garble_next_line()

    host.run("G91G0X11", "X1")

    assert host.replies == ["ok", "ok"]
    assert host.report().place[0] != 12


def test_a_garbled_reply_is_no_reply(host):
    host.machine.faults.garble_next_reply()

    host.queue("G4P0")
    host.wait(0.1)

    assert host.replies == []
    assert host.pushed == ["o~"]


def test_the_reset_button_greets_and_counts_from_zero(host):
    host.run("G91G0X7")
    host.pushed.clear()

    host.machine.reset_now()
    host.wait(0.05)

    assert host.pushed == ["Grbl 1.1h ['$' for help]"]
    assert host.report().place[0] == 0
    assert host.machine.head_mm[0] == pytest.approx(7, abs=0.1)


def test_what_comes_while_it_boots_is_lost(host):
    host.machine.reset_now(boot_s=0.5)
    host.write(b"$I\n", 0.6)

    assert host.replies == []
    assert host.ask("$I") == "ok"


def test_opening_the_port_resets_it(host):
    host.machine.open_port(0.2)
    host.wait(0.3)

    assert host.pushed == ["Grbl 1.1h ['$' for help]"]


def test_a_second_greeting_can_come_without_a_reset(host):
    host.run("G91G0X7")
    host.machine.greet_again()
    host.wait(0.05)

    assert host.pushed == ["Grbl 1.1h ['$' for help]"]
    assert host.report().place[0] == 7


def test_a_brown_out_is_garbage_and_then_a_greeting(host):
    host.machine.brown_out()
    host.wait(0.2)

    assert host.pushed[-1] == "Grbl 1.1h ['$' for help]"
    assert len(host.pushed) > 1 or len(host.pushed[0]) > 25


def test_unplugged_neither_takes_nor_gives_and_the_head_goes_on(host):
    host.queue("G91G0X5")
    host.wait(0.01)

    host.machine.unplug()
    with pytest.raises(Unplugged):
        host.machine.write(b"?")
    with pytest.raises(Unplugged):
        host.machine.read()
    host.machine.advance(1)
    host.machine.plug_in()

    assert host.report().place[0] == 5


def test_a_hung_controller_stands_with_its_output_on(host):
    host.queue("M3S500G91G1F600X50")
    host.wait(1)

    host.machine.hang()
    assert host.report() is None
    host.write(b"\x18", 1)
    assert host.machine.is_burning
    host.machine.reset_now()
    host.wait(0.05)

    assert not host.machine.is_burning
    assert host.report()["state"] == "Idle"


@pytest.mark.parametrize("number", range(3, 10))
def test_each_alarm_is_told_and_locks(host, number):
    host.machine.trip_alarm(number)
    host.wait(0.7)

    assert host.pushed[0] == f"ALARM:{number}"
    assert host.ask("G0X1") == "error:9"


@pytest.mark.parametrize("seed", range(5))
def test_a_thousand_random_bytes_do_not_break_it(seed):
    host = Host(seed=seed)
    noise = random.Random(seed).randbytes(1000)
    for at in range(0, 1000, 50):
        host.write(noise[at : at + 50], 0.01)
    host.write(b"\n\x18", 1.0)
    host.write(b"\n\x18", 1.0)

    assert host.report()["state"] in {"Idle", "Alarm"}
