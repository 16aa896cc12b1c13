"""Status reports: fields, order, and how often the rare ones come."""

import itertools

import pytest

from support.harnesses.practice_host import Host


@pytest.fixture
def host():
    return Host()


def test_the_first_report_brings_the_offset_and_the_second_the_overrides(host):
    assert "WCO" in host.report()
    second = host.report()
    assert second["Ov"] == "100,100,100"
    assert "WCO" not in second


def periods(host, name, count, *, every_s):
    """Return the distances between reports that show `name`."""
    host.reports.clear()
    host.wait(count * every_s, report_every_s=every_s)
    places = [at for at, report in enumerate(host.reports) if name in report]
    return {after - before for before, after in itertools.pairwise(places)}


@pytest.mark.parametrize("name", ["WCO", "Ov"])
def test_at_rest_the_rare_fields_come_every_tenth_report(host, name):
    assert periods(host, name, 60, every_s=0.02) == {10}


@pytest.mark.parametrize(("name", "period"), [("WCO", 30), ("Ov", 20)])
def test_in_motion_the_rare_fields_come_less_often(host, name, period):
    host.queue("G91G1F100X200")
    host.wait(0.1)

    assert periods(host, name, 160, every_s=0.02) == {period}


def test_offset_and_overrides_never_share_a_report(host):
    host.wait(5, report_every_s=0.02)

    assert not any("WCO" in report and "Ov" in report for report in host.reports)


def test_at_rest_the_report_tells_the_full_sizes(host):
    assert host.report()["Bf"] == "15,128"


def test_the_place_is_in_whole_steps(host):
    host.run("G91G1F600X.1234")

    assert host.report().place[0] == 0.125


def test_a_work_offset_is_told_and_taken_off_when_work_places_are_asked_for(host):
    host.run("G0X10", "G92X2")
    assert host.report()["WCO"] == "8.000,0.000,0.000"

    host.ask("$10=2", seconds=0.6)

    assert host.report()["WPos"] == "2.000,0.000,0.000"


def test_sizes_can_be_left_out(host):
    host.ask("$10=1", seconds=0.6)

    assert "Bf" not in host.report()


def test_inches_have_four_decimals(host):
    host.ask("$13=1", seconds=0.6)
    host.run("G21G0X25.4")

    assert host.report()["MPos"] == "1.0000,0.0000,0.0000"


def test_during_a_dwell_it_says_idle_and_its_ring_fills(host):
    host.queue("G4P1")
    host.wait(0.1)
    host.write(b"X1\n" * 3, 0.05)

    report = host.report(0.08)

    assert report["state"] == "Idle"
    assert report.free_bytes == 119


def test_an_override_is_told_at_once(host):
    host.report()
    host.report()
    host.report()
    host.write(b"\x91", 0.01)

    assert host.report()["Ov"] == "110,100,100"


@pytest.mark.parametrize(
    ("byte", "overrides"),
    [
        (b"\x91", "110,100,100"),
        (b"\x92", "90,100,100"),
        (b"\x93", "101,100,100"),
        (b"\x94", "99,100,100"),
        (b"\x96", "100,50,100"),
        (b"\x97", "100,25,100"),
        (b"\x9a", "100,100,110"),
        (b"\x9b", "100,100,90"),
        (b"\x9c", "100,100,101"),
        (b"\x9d", "100,100,99"),
    ],
)
def test_each_override_byte_does_its_step(host, byte, overrides):
    host.write(byte, 0.01)
    host.report()

    assert host.report()["Ov"] == overrides


@pytest.mark.parametrize(("byte", "back"), [(b"\x91", b"\x90"), (b"\x9a", b"\x99")])
def test_overrides_stop_at_their_bounds_and_go_back(host, byte, back):
    host.write(byte * 12, 0.05)  # twelve in one write made 200 % (measured)
    host.report()
    assert "200" in host.report()["Ov"]

    host.write(back, 0.01)

    assert host.report()["Ov"] == "100,100,100"


def test_the_end_of_a_program_takes_the_overrides_back(host):
    host.write(b"\x91\x9b\x97", 0.02)
    host.run("M2")
    host.report()

    assert host.report()["Ov"] == "100,100,100"


def test_dwell_is_over_when_everything_before_it_is_done(host):
    seconds = host.run("G91G1F600X5", "G4P0.01")

    assert seconds == pytest.approx(5 / 10 + 10 / 1000 + 0.01, abs=0.03)
    assert host.report()["state"] == "Idle"
