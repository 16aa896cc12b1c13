"""Flow control: the receive ring, the baud rate, the send ring (measured on host builds)."""

import pytest

from support.harnesses.practice_host import NEVER_THE_LIMIT, Host

BYTE_S = 10 / 115200


@pytest.fixture
def held():
    """A machine in hold: it reads no line, so the ring fills."""
    host = Host()
    host.write(b"!", 0.05)
    assert host.report()["state"] == "Hold:0"
    return host


@pytest.mark.parametrize(("count", "lost"), [(127, 0), (128, 0), (129, 1), (140, 12)])
def test_the_ring_holds_128_bytes_and_loses_the_next_without_a_word(held, count, lost):
    held.write(b"\n" * count, 0.1)

    assert held.machine.controller.engine.receive.lost_bytes == lost

    held.write(b"~", 0.3)

    assert held.replies == ["ok"] * (count - lost)


def test_the_report_tells_what_room_the_ring_has(held):
    held.write(b"X1\n" * 10, 0.05)

    assert held.report().free_bytes == 98


def test_a_burst_is_answered_in_part_and_never_with_an_error():
    """60 lines of 8 bytes at once: 34 replies, all ok, 3.3 mm of 6.0 moved (measured).

    What was in the planner when the burst came is not known, so a few lines are left open.
    """
    host = Host(costs=NEVER_THE_LIMIT)
    host.ask("G91G1F500")
    host.replies.clear()

    host.write(b"X.1S500\n" * 60, 3.0)

    assert set(host.replies) == {"ok"}
    assert len(host.replies) == pytest.approx(34, abs=3)
    assert host.report().place[0] == pytest.approx(3.3, abs=0.35)


@pytest.mark.parametrize("feed", [1000, 4000])
def test_lines_cut_by_lost_bytes_can_be_refused_or_be_valid_wrong_ones(feed):
    host = Host()
    host.ask(f"G91G1F{feed}")
    host.replies.clear()

    host.write(b"X.1S500\n" * 60, 9.0)

    assert len(host.replies) < 60
    assert host.report().place[0] != pytest.approx(6.0, abs=0.05)


def test_bytes_take_their_time_in_both_directions():
    host = Host(costs=NEVER_THE_LIMIT)
    machine = host.machine
    machine.write(b"G4P0\n")
    arrives_s = machine.now_s + 5 * BYTE_S

    machine.advance(5 * BYTE_S - 1e-6)
    assert machine.controller.engine.send.next_arrival_s == float("inf")
    machine.advance(2e-6)
    machine.advance(0.5 * BYTE_S)
    assert machine.read() == b""
    machine.advance(4 * BYTE_S)

    assert machine.read() == b"ok\r\n"
    assert machine.now_s - arrives_s < 5 * BYTE_S


@pytest.mark.slow
@pytest.mark.parametrize(("baud", "lines_per_s"), [(115200, 1645), (57600, 822)])
def test_the_link_bounds_the_lines_a_second(baud, lines_per_s):
    """Seven bytes a line in check mode: 1641 lines/s measured at 115200 baud."""
    host = Host(baud=baud)
    host.ask("$C")
    host.ask("G91G1F4000")

    seconds = host.run(*["X.1S500", "X.1S0"] * 1000)

    assert 2000 / seconds == pytest.approx(lines_per_s, rel=0.03)


def test_at_57600_baud_a_raster_of_tenths_still_runs_at_full_speed():
    host = Host(baud=57600, costs=NEVER_THE_LIMIT)

    host.run("G91G1F4000M4X.1", *["X.1S500", "X.1S0"] * 300, report_every_s=0.05)

    feeds = sorted(report.feed for report in host.reports if report["state"] == "Run")
    assert feeds[len(feeds) // 2] == 3175


def test_a_full_send_ring_makes_the_main_loop_wait():
    host = Host()

    host.write(b"$$\nG91G1F6000X5\n", 0.02)

    assert not host.is_moving  # the settings are still being sent
    host.wait(0.4)
    assert host.report().place[0] > 0


def test_real_time_bytes_are_seen_while_the_ring_is_full(held):
    held.write(b"X1\n" * 60, 0.05)

    assert held.report()["state"] == "Hold:0"


@pytest.mark.parametrize("data", [b"(a ? comment)\n", b"$?G\n"])
def test_real_time_bytes_are_taken_out_of_comments_and_dollar_lines_too(data):
    host = Host()

    host.write(data, 0.1)

    assert len(host.reports) == 1
    assert host.replies == ["ok"]


def test_unknown_bytes_above_127_vanish():
    host = Host()

    host.write(b"G4\xc3P\xff0\n", 0.1)

    assert host.replies == ["ok"]


def test_motion_begins_when_the_ring_runs_dry():
    host = Host()

    host.write(b"G91G1F600X5\n", 0.004)

    assert host.report()["state"] == "Run"


def test_ok_means_queued_not_done():
    host = Host()

    assert host.ask("G91G1F600X5", seconds=0.05) == "ok"
    assert host.report()["state"] == "Run"


def test_a_line_cut_anywhere_is_the_same_line():
    whole = b"G91G1X1F6000\n$G\n?"
    expected = Host()
    expected.write(whole, 0.5)

    for cut in range(1, len(whole)):
        host = Host()
        host.write(whole[:cut], 0.2)
        host.write(whole[cut:], 0.5)

        assert host.replies == expected.replies
        assert host.pushed == expected.pushed
