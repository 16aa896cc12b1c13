"""The beam's output in the laser mode (facts of the controller, section 8; most measured)."""

import pytest

from support.harnesses.practice_host import Host


def level(host):
    return host.machine.controller.engine.stepper.level


@pytest.mark.parametrize(
    ("s", "expected"),
    [(0, 0), (0.5, 1), (100, 26), (500, 128), (999, 254), (1000, 255), (1500, 255)],
)
def test_the_output_has_256_levels(s, expected):
    host = Host()

    host.run(f"G1M3S{s}F1000X1")

    assert level(host) == expected


def test_constant_power_burns_on_standing_still_and_is_reported():
    """FS:0,500 A:S at Idle after G1 M3 S500 (measured)."""
    host = Host()
    host.run("G1F1000X1", "M3S500")
    host.report()

    report = host.report()

    assert (report["state"], report["FS"], report["A"]) == ("Idle", "0,500", "S")
    assert host.machine.is_burning


@pytest.mark.parametrize("off", ["M5", "M4", "S0", "G0"])
def test_constant_power_at_rest_is_put_out_by_a_change(off):
    host = Host()
    host.run("G1F1000X1", "M3S500")

    host.run(off)

    assert level(host) == 0


def test_constant_power_stays_dark_after_a_reset_until_g1():
    host = Host()
    host.run("M3S500")
    assert level(host) == 0

    host.run("G1F1000")

    assert level(host) == 128


def test_dynamic_power_is_off_at_rest_and_shows_no_accessory():
    host = Host()
    host.run("M4S500G1F1000X1")
    host.report()

    report = host.report()

    assert report["FS"] == "0,0"
    assert "A" not in report


def test_dynamic_power_in_motion_shows_c():
    host = Host()
    host.queue("M4S500G1F1000X50")
    host.wait(0.3)

    reports = [host.report() for _ in range(3)]

    assert {report["A"] for report in reports if "Ov" in report} == {"C"}


def test_doubling_the_feed_by_override_doubles_dynamic_power():
    """F2000 S400 at 200 % is FS 4000,800 (measured)."""
    host = Host()
    host.queue("M4S400G1F2000X100")
    host.wait(0.3)

    host.write(b"\x91" * 10, 0.4)

    assert host.report()["FS"] == "4000,800"


def test_the_power_override_scales_s():
    host = Host()
    host.queue("M4S400G1F2000X100")
    host.wait(0.3)

    host.write(b"\x9b" * 5, 0.3)

    assert host.report()["FS"] == "2000,200"


@pytest.mark.parametrize("mode", ["M3", "M4"])
def test_a_rapid_is_dark_and_keeps_s(mode):
    host = Host()
    host.run(f"{mode}S500G1F1000X1")
    host.queue("G0X60")
    host.wait(0.2)
    assert (level(host), host.report().s) == (0, 0)

    host.run("G1X61")
    host.ask("$G")

    assert "S500" in host.pushed[0]


@pytest.mark.parametrize(
    ("line", "waits"),
    [("X.1S300", False), ("M4", False), ("M5", True), ("M3", True), ("S300", True)],
)
def test_in_dynamic_power_a_change_of_the_mode_and_s_alone_wait_for_rest(line, waits):
    host = Host()
    host.queue("M4S500G91G1F600X5")
    host.wait(0.1)
    host.replies.clear()

    host.ask(line, seconds=0.1)

    assert (host.replies == []) is waits


def test_in_constant_power_s_alone_waits_for_rest():
    host = Host()
    host.queue("M3S500G91G1F600X5")
    host.wait(0.1)
    host.replies.clear()

    assert host.ask("S300", seconds=0.1) is None
    host.wait(1)

    assert level(host) == 77


def test_s_alone_in_dynamic_power_counts_from_the_next_move():
    host = Host()
    host.queue("M4S500G91G1F600X5", "S300", "X5")
    host.wait(0.25)
    assert host.report().s == 500

    host.wait(0.6)

    assert host.report().s == 300


@pytest.mark.parametrize(("mode", "expected"), [("M3", 77), ("M4", 0)])
def test_a_move_of_less_than_half_a_step_makes_no_block(mode, expected):
    host = Host()
    host.run(f"G91G1F600X1{mode}S500")

    host.run("X.004S300")

    assert host.report().place[0] == 1
    assert level(host) == expected


def test_outside_the_laser_mode_the_beam_burns_in_rapids_and_at_rest():
    host = Host(settings={32: 0})
    host.run("M4S500")
    assert level(host) == 128
    host.queue("G0X50")
    host.wait(0.1)

    assert level(host) == 128


def test_the_beam_stop_byte_works_in_a_hold_only():
    host = Host()
    host.queue("M3S500G91G1F600X20")
    host.wait(0.2)

    host.write(b"\x9e", 0.1)
    assert level(host) == 128
    host.write(b"!", 0.3)
    host.pushed.clear()
    host.write(b"\x9e", 0.05)

    assert host.pushed == ["[MSG:Restoring spindle]"]


@pytest.mark.parametrize(("byte", "after"), [(b"\xa0", "F"), (b"\xa0\xa0", "F")])
def test_the_coolant_toggle_is_one_flag_however_often_it_comes_at_once(byte, after):
    host = Host()
    controller = host.machine.controller
    controller.engine.be_busy_until(controller.engine.now_s + 0.05)

    host.write(byte, 0.1)

    assert controller.engine.coolant_on == after
