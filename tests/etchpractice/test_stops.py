"""Hold, resume, door, reset, pause and sleep: what stops, when, and what is kept."""

import pytest

from support.harnesses.practice_host import Host

SETTLING = {1: 25}
STILL_HOLDS = ("G1X1", "$J=X1F100", "$$", "$G", "$#", "$X", "$C")


def moving(feed=3000, power=None, **options):
    """A machine in the middle of a long move."""
    host = Host(**options)
    beam = f"{power}S600" if power else ""
    host.queue(f"G91G1{beam}F{feed}X150")
    host.wait(0.5)
    return host


def wait_for_rest(host, state="Hold:0"):
    """Ask at 500 Hz and return the seconds until the report says `state`."""
    from_s = host.machine.now_s
    while host.machine.now_s - from_s < 2:
        report = host.report(0.008)
        if report and report["state"] == state:
            return host.machine.now_s - from_s
    raise AssertionError(f"never {state}")


def test_a_hold_from_3000_mm_per_min_is_at_rest_after_the_measured_time():
    """135 to 142 ms with $1=25: the queue of segments, v/a of braking, the motors' settling."""
    host = moving(settings=SETTLING)
    host.write(b"!")

    assert wait_for_rest(host) == pytest.approx(0.137, abs=0.015)


def test_the_hold_is_reported_within_8_ms_while_it_brakes():
    host = moving()

    host.write(b"!?", 0.008)

    assert host.reports[0]["state"] == "Hold:1"


@pytest.mark.parametrize(("feed", "braking_mm"), [(4000, 2.2), (8000, 8.9)])
def test_the_braking_way_is_that_of_the_acceleration(feed, braking_mm):
    host = moving(feed)
    before = host.machine.controller.engine.stepper.segments[-1].end[0]
    host.write(b"!")
    wait_for_rest(host)

    assert host.report().place[0] - before == pytest.approx(braking_mm, abs=0.1)


def test_nothing_is_lost_by_a_hold_in_a_raster():
    """800 of 800 lines ok (measured), and the head ends where it would have."""
    host = Host()
    host.queue("G91G1F4000M4X.1", *["X.1S500", "X.1S0"] * 400)
    host.wait(0.8)
    host.write(b"!")
    wait_for_rest(host)

    host.write(b"~")
    host.run()

    assert host.replies == ["ok"] * 801
    assert host.report().place[0] == pytest.approx(80.1)


@pytest.mark.parametrize("line", STILL_HOLDS)
def test_in_a_hold_no_line_is_read_at_all(line):
    host = moving()
    host.write(b"!")
    wait_for_rest(host)
    host.replies.clear()

    assert host.ask(line, seconds=1.0) is None
    assert host.report()["state"] == "Hold:0"


def test_a_resume_while_it_still_brakes_is_not_heard():
    host = moving()
    host.write(b"!", 0.02)

    host.write(b"~", 0.5)

    assert host.report()["state"] == "Hold:0"


def test_a_hold_at_rest_is_a_hold_too():
    host = Host()

    host.write(b"!", 0.01)

    assert host.report()["state"] == "Hold:0"
    host.write(b"~", 0.01)
    assert host.report()["state"] == "Idle"


def test_a_hold_in_a_dwell_is_heard_within_50_ms():
    host = Host()
    host.queue("G4P1")
    host.wait(0.2)

    host.write(b"!", 0.055)

    assert host.report()["state"] == "Hold:0"


def test_constant_power_burns_on_through_all_the_braking():
    """FS 0,600 in Hold:1 (measured)."""
    host = moving(power="M3")
    host.write(b"!", 0.01)

    seen = []
    while host.machine.controller.engine.is_going:
        seen.append(host.report(0.008)["FS"])
        assert not host.machine.controller.engine.is_going or host.machine.is_burning

    assert seen[-2] == "0,600"
    assert all(speeds.endswith(",600") for speeds in seen[:-1])


def test_dynamic_power_falls_with_the_speed_of_the_braking():
    host = moving(power="M4")
    host.write(b"!")
    host.wait(0.06)
    levels = set()
    while host.machine.controller.engine.is_going:
        levels.add(host.machine.controller.engine.stepper.level)
        host.wait(0.002)

    assert len(levels) >= 3
    assert min(levels) < 60 < max(levels)


@pytest.mark.parametrize("power", ["M3", "M4"])
def test_at_rest_in_a_hold_the_beam_is_out_and_reported_so(power):
    host = moving(power=power)
    host.report()
    host.report()
    host.write(b"!")
    wait_for_rest(host)

    assert not host.machine.is_burning
    seen = host.reports[-1]
    assert seen["FS"] == "0,0"
    assert "A" not in seen


def test_a_hold_that_put_the_beam_out_tells_it_in_the_next_report():
    """A vanishes from the Ov report that comes at once (facts of the controller, section 8)."""
    host = moving(power="M3")
    for _ in range(4):
        host.report()
    host.write(b"!", 0.3)

    report = host.report()

    assert report["state"] == "Hold:0"
    assert "Ov" in report
    assert "A" not in report


def test_a_resume_says_that_the_beam_comes_back():
    host = moving(power="M4")
    host.write(b"!")
    wait_for_rest(host)
    host.pushed.clear()

    host.write(b"~", 0.1)

    assert host.pushed == ["[MSG:Restoring spindle]"]
    assert host.machine.is_burning


def test_m0_holds_and_is_answered_only_after_the_resume():
    host = Host()
    assert host.ask("M0") is None
    assert host.report()["state"] == "Hold:0"

    host.write(b"~", 0.1)

    assert host.replies == ["ok"]


def test_m1_is_passed_over():
    assert Host().ask("M1") == "ok"


def test_a_reset_in_motion_is_an_alarm_and_greets_half_a_second_later():
    host = moving()
    host.pushed.clear()
    host.write(b"\x18", 0.02)
    assert host.pushed == ["ALARM:3"]

    host.wait(0.50)
    assert host.pushed == ["ALARM:3"]
    host.wait(0.04)

    assert host.pushed[1:] == ["Grbl 1.1h ['$' for help]", "[MSG:'$H'|'$X' to unlock]"]
    assert host.ask("G1X1F100") == "error:9"


def test_a_reset_in_motion_stops_dead_and_the_place_is_wrong_by_the_slip():
    host = moving(feed=6000)

    host.write(b"\x18", 0.001)

    counted = host.machine.controller.engine.stepper.place[0]
    host.wait(0.7)
    host.ask("$X")
    host.run("G91G0X1")
    assert host.machine.head_mm[0] - counted - 1 > 0.1


@pytest.mark.parametrize("hold", [True, False])
def test_a_reset_at_rest_keeps_the_place_and_is_no_alarm(hold):
    host = moving() if hold else Host()
    if hold:
        host.write(b"!")
        wait_for_rest(host)
    place = host.report().place
    host.pushed.clear()

    host.write(b"\x18", 0.05)

    assert host.pushed == ["Grbl 1.1h ['$' for help]"]
    report = host.report()
    assert (report["state"], report.place) == ("Idle", place)


def test_a_reset_while_it_brakes_is_an_alarm():
    host = moving()
    host.write(b"!", 0.03)

    host.write(b"\x18", 0.1)

    assert "ALARM:3" in host.pushed


def test_lines_still_on_their_way_after_a_reset_at_rest_would_run():
    """In absolute, rapid, beam-off defaults: the host must have dropped them."""
    host = moving(power="M4")
    host.write(b"!")
    wait_for_rest(host)

    host.write(b"\x18")
    host.wait(0.01)
    host.write(b"X5\n", 1.0)

    assert host.replies[-1:] == ["ok"]
    assert host.report().place[0] == 5


def test_a_reset_loses_modes_and_shift_and_keeps_stored_offsets():
    host = Host()
    host.ask("G10L2P1X5")  # alone: while it is stored nothing is heard
    host.run("G91G20M4S100F10", "G92X1")

    host.write(b"\x18", 0.05)
    host.ask("$G")
    assert host.pushed == ["[GC:G0 G54 G17 G21 G90 G94 M5 M9 T0 F0 S0]"]
    host.ask("$#")

    assert "[G54:5.000,0.000,0.000]" in host.pushed
    assert "[G92:0.000,0.000,0.000]" in host.pushed


def test_the_output_is_off_within_a_byte_time_of_the_reset():
    host = moving(power="M3")
    assert host.machine.is_burning

    host.machine.write(b"\x18")
    host.machine.advance(2 * 10 / 115200)

    assert not host.machine.is_burning


def test_the_door_byte_without_a_door_input_is_ready_to_resume_at_once():
    host = moving(power="M4")
    host.write(b"\x84")
    wait_for_rest(host, "Door:0")

    host.write(b"~", 0.1)

    assert host.report()["state"] == "Run"


def test_an_open_door_holds_until_it_is_closed_and_resumed():
    host = moving(power="M4")
    host.machine.open_door_pin()
    wait_for_rest(host, "Door:1")
    assert host.report()["Pn"] == "D"
    host.write(b"~", 0.2)
    assert host.report()["state"] == "Door:1"

    host.machine.close_door_pin()
    assert host.report()["state"] == "Door:0"
    host.write(b"~", 0.1)

    assert host.report()["state"] == "Run"


def test_the_door_puts_the_coolant_out_and_brings_it_back_with_a_second_s_wait():
    host = moving(power="M8M4")
    assert host.machine.controller.engine.coolant_on
    host.write(b"\x84")
    wait_for_rest(host, "Door:0")
    assert not host.machine.controller.engine.coolant_on

    host.write(b"~", 0.5)
    assert host.report()["state"] == "Door:3"
    host.wait(0.6)

    assert host.report()["state"] == "Run"
    assert host.machine.controller.engine.coolant_on


def test_with_the_door_open_at_a_reset_nothing_is_read():
    host = Host()
    host.machine.controller.engine.is_door_open = True

    host.write(b"\x18", 0.1)

    assert host.report()["state"] == "Door:1"
    assert host.ask("$$") is None


def test_unlocking_is_refused_while_the_door_is_open():
    host = moving()
    host.write(b"\x18", 0.7)
    host.machine.controller.engine.is_door_open = True

    assert host.ask("$X") == "error:13"


def test_asleep_it_hears_nothing_but_a_reset():
    host = Host()
    assert host.ask("$SLP") == "ok"
    assert host.pushed == ["[MSG:Sleeping]"]
    assert host.ask("$$", seconds=1) is None

    host.write(b"\x18", 0.1)

    assert host.report()["state"] == "Alarm"


@pytest.mark.parametrize("number", [1, 2])
def test_after_a_limit_only_a_reset_helps(number):
    host = Host()
    host.machine.trip_alarm(number)
    host.wait(0.7)
    assert host.pushed == [f"ALARM:{number}", "[MSG:Reset to continue]"]
    assert host.ask("$X", seconds=1) is None

    host.write(b"\x18", 0.1)

    assert host.report()["state"] == "Alarm"


def test_leaving_the_travel_brakes_and_then_alarms():
    host = Host(settings={20: 1, 22: 1})
    host.wait(0.1)
    host.ask("$X")

    host.run("G91G0X-50", within_s=10)
    host.queue("G0X60")
    host.wait(3)

    assert "ALARM:2" in host.pushed


def test_homing_finds_the_corner_and_a_slipped_place_is_right_again():
    host = Host(settings={22: 1, 23: 3, 27: 1})
    assert host.report()["state"] == "Alarm"

    host.queue("$H")
    host.wait(20)

    assert host.replies == ["ok"]
    assert host.report().place[:2] == (-399, -399)
    assert host.machine.head_mm == pytest.approx((1, 1), abs=0.05)


def test_during_homing_a_reset_is_alarm_6():
    host = Host(settings={22: 1})
    host.queue("$H")
    host.wait(1)

    host.write(b"\x18", 0.7)

    assert "ALARM:6" in host.pushed


def test_a_check_run_moves_nothing_and_leaves_by_a_reset():
    host = Host()
    host.ask("$C")
    assert host.pushed == ["[MSG:Enabled]"]
    host.run("M4S500G1F100X50")
    assert host.report()["MPos"] == "0.000,0.000,0.000"
    assert host.report()["state"] == "Check"

    host.ask("$C")

    assert host.pushed == ["[MSG:Disabled]", "Grbl 1.1h ['$' for help]"]
    assert host.report()["state"] == "Idle"


@pytest.mark.parametrize("byte", [b"!", b"\x84"])
def test_hold_and_door_do_nothing_in_check_and_alarm(byte):
    host = Host()
    host.ask("$C")
    host.write(byte, 0.05)
    assert host.report()["state"] == "Check"

    host = moving()
    host.write(b"\x18", 0.7)
    host.write(byte, 0.05)

    assert host.report()["state"] == "Alarm"
