"""The 32-bit relative: what it does otherwise (facts of the controller, section 11 and others)."""

import pytest

from support.harnesses.practice_host import Host


@pytest.fixture
def host():
    return Host(firmware="32-bit")


def test_it_greets_in_its_own_name(host):
    assert host.greeting == ["GrblHAL 1.1f ['$' or '$HELP' for help]"]


def test_its_sizes_are_told_and_shown(host):
    host.ask("$I")

    assert "[OPT:VNML+,100,1024,3,0]" in host.pushed
    assert host.report()["Bf"] == "100,1023"


def test_carriage_return_and_line_feed_are_one_line(host):
    host.write(b"G4P0\r\nG4P0\n", 0.2)

    assert host.replies == ["ok", "ok"]


def test_after_an_error_every_line_is_refused_with_it_until_an_empty_one(host):
    """ok, 36, 36, 36, ok (empty), ok (measured)."""
    host.run("G91G1F6000X1", "X1e3", "X1", "X1", "", "X1")

    assert host.replies == ["ok", "error:36", "error:36", "error:36", "ok", "ok"]
    assert host.report().place[0] == 2


def test_a_dollar_line_that_succeeds_ends_the_refusing_and_one_that_fails_begins_it(host):
    host.run("X1e3", "$G", "G91G0X1", "$Q", "X1", "$G", "X1")

    assert host.replies == ["error:36", "ok", "ok", "error:3", "error:3", "ok", "ok"]


def test_a_line_may_have_255_characters_comments_included(host):
    assert host.ask("G4P0" + " " * 251) == "ok"
    assert host.ask("G4P0(" + "-" * 300 + ")") == "error:11"


def test_the_program_mark_and_the_tool_change_are_ok(host):
    assert host.ask("%") == "ok"
    assert host.ask("M6T1") == "ok"


def test_it_stops_at_m1(host):
    assert host.ask("M1") is None
    assert host.report()["state"] == "Hold:0"

    host.write(b"~", 0.1)

    assert host.replies == ["ok"]


def test_in_a_hold_at_rest_it_shows_a_stale_speed(host):
    host.queue("G91G1F2000X50")
    host.wait(0.5)

    host.write(b"!", 0.3)

    report = host.report()
    assert (report["state"], report.feed) == ("Hold:0", 2000)


@pytest.mark.parametrize("data", [b"(a ? comment)\n", b"$?G\n", b"?\n"])
def test_a_report_is_given_wherever_it_is_asked_for(host, data):
    """Inside a comment and a $ line as well (recorded)."""
    host.write(data, 0.1)

    assert len(host.reports) == 1


def test_the_jog_cancel_empties_the_ring_in_any_state(host):
    host.queue("G91G1F600X1")
    host.wait(0.05)
    host.write(b"!", 0.1)
    host.write(b"X1\nX1\nX1\n", 0.05)
    assert host.report().free_bytes < 1023

    host.write(b"\x85", 0.02)

    assert host.report().free_bytes == 1023


def test_the_stop_byte_brakes_to_idle_without_an_alarm(host):
    host.queue("G91G1F6000X50")
    host.wait(0.3)
    host.pushed.clear()

    host.write(b"\x19", 0.4)

    assert host.pushed == ["[MSG:Stop]"]
    assert host.report()["state"] == "Idle"
    assert 0 < host.report().place[0] < 50


@pytest.mark.parametrize(("byte", "state"), [(b"\x82", "Hold:0"), (b"\x19", "Idle")])
def test_its_other_names_for_real_time_commands_work(host, byte, state):
    host.queue("G91G1F600X50")
    host.wait(0.3)

    host.write(byte, 0.3)
    host.reports.clear()
    host.write(b"\x80", 0.05)

    assert host.reports[0]["state"] == state


def test_the_alarm_s_greeting_comes_a_tenth_of_a_second_later(host):
    host.queue("G91G1F600X50")
    host.wait(0.3)
    host.pushed.clear()

    host.write(b"\x18", 0.09)
    assert host.pushed == ["ALARM:3"]
    host.wait(0.03)

    assert host.pushed[1].startswith("GrblHAL")


def test_dynamic_power_standing_still_is_reported_as_on_and_then_as_off(host):
    host.run("M4S500G1F1000X1")
    shown = [host.report().get("A") for _ in range(30)]
    host.run("M5")
    later = [host.report().get("A") for _ in range(30)]

    assert "C" in shown
    assert [text for text in later if text is not None] == [""]


def test_its_output_is_finer_than_256_levels(host):
    host.run("G1M3S500F1000X1")

    assert host.machine.controller.engine.stepper.level == pytest.approx(4095 / 2, abs=1)


def test_writing_a_setting_takes_no_time(host):
    assert host.ask("$11=0.02", seconds=0.01) == "ok"


def test_opening_its_port_does_not_reset_it(host):
    host.machine.open_port(0.1)
    host.wait(0.3)

    assert host.pushed == []
