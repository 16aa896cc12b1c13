"""Speeds and times measured on host builds of both firmwares (facts of the controller, section 10).

The motion of the practice machine is held to them, with a processor as those builds had it; what
the part's own processor does to them is in test_costs.
"""

import math

import pytest

from support.harnesses.practice_host import NEVER_THE_LIMIT, Host

SETTLING = {1: 25}  # the motors settle for 25 ms after the last step, as on the measured builds


def alternating(count, pitch_mm, feed):
    """A straight line of short blocks, the beam on in every second one."""
    first = f"G91G1X{pitch_mm:g}S0F{feed}M4"
    return [first, *(f"X{pitch_mm:g}S{600 * (number % 2)}" for number in range(1, count))]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("firmware", "pitch_mm", "feed", "steady"),
    [
        ("8-bit", 0.1, 4000, 3175),
        ("8-bit", 0.1, 8000, 3175),
        ("8-bit", 0.5, 4000, 4000),
        ("8-bit", 0.5, 8000, 7099),
        ("8-bit", 1.0, 8000, 8000),
        ("32-bit", 0.1, 4000, 4000),
        ("32-bit", 0.1, 8000, 8000),
    ],
)
def test_short_blocks_run_as_fast_as_the_planner_can_look_ahead(firmware, pitch_mm, feed, steady):
    host = Host(firmware=firmware, costs=NEVER_THE_LIMIT)

    host.run(*alternating(round(100 / pitch_mm), pitch_mm, feed), report_every_s=0.04)

    feeds = sorted(report.feed for report in host.reports if report["state"] == "Run")
    assert feeds[len(feeds) // 2] == steady


@pytest.mark.slow
@pytest.mark.parametrize(
    ("firmware", "feed", "measured_s"),
    [
        ("8-bit", 4000, 2.01),
        ("8-bit", 8000, 2.01),
        ("32-bit", 4000, 1.71),
        ("32-bit", 8000, 1.01),
    ],
)
def test_a_row_of_100_mm_in_tenths_takes_the_measured_time(firmware, feed, measured_s):
    host = Host(firmware=firmware, settings=SETTLING, costs=NEVER_THE_LIMIT)

    seconds = host.run(*alternating(1000, 0.1, feed))

    assert seconds == pytest.approx(measured_s, rel=0.02)


def test_the_mean_speed_over_60_mm_of_tenths_is_that_of_the_step_trace():
    """60 mm in 1.124 s, a mean of 3202 mm/min, between 20 mm and 80 mm of the row."""
    host = Host(costs=NEVER_THE_LIMIT)
    passed = {}
    host.queue(*alternating(1000, 0.1, 4000))

    while host.machine.head_mm[0] < 85:
        host.wait(0.002)
        for place in (20, 80):
            x = host.machine.controller.engine.stepper.place_at(host.machine.now_s)[0]
            if x >= place and place not in passed:
                passed[place] = (host.machine.now_s, x)

    way = passed[80][1] - passed[20][1]
    assert way / (passed[80][0] - passed[20][0]) * 60 == pytest.approx(3202, rel=0.005)


def test_dynamic_power_follows_the_speed_the_planner_allows():
    """79 % of S at F4000 and 40 % at F8000: the energy per mm stays, peak power does not."""
    shown = {}
    for feed in (4000, 8000):
        host = Host(costs=NEVER_THE_LIMIT)
        host.run(*alternating(300, 0.1, feed), report_every_s=0.04)
        shown[feed] = max(report.s for report in host.reports)

    assert shown[4000] / 600 == pytest.approx(0.79, abs=0.01)
    assert shown[8000] / 600 == pytest.approx(0.40, abs=0.01)


@pytest.mark.parametrize(
    ("length_mm", "expected_s"),
    [(0.1, 0.0200000), (1, 0.0632456), (4.444444, 0.1333333), (10, 0.2166667), (100, 1.5666667)],
)
def test_a_single_move_takes_the_time_of_its_trapezoid(length_mm, expected_s):
    """Elementary mechanics at 4000 mm/min and 1000 mm/s²: t = L/v + v/a, or 2 sqrt(L/a)."""
    host = Host()
    host.queue(f"G91G1X{length_mm}F4000")
    host.wait(0.004)  # the line on the cable, and read
    stepper = host.machine.controller.engine.stepper
    start_s = stepper.segments[0].from_s

    host.run()

    x = stepper.place[0]
    exact_s = 2 * math.sqrt(x / 1000) if x < 4.4444 else x / (4000 / 60) + (4000 / 60) / 1000
    track = host.machine._track
    assert track._times[-1] - start_s == pytest.approx(exact_s, abs=1e-6)
    assert exact_s == pytest.approx(expected_s, rel=0.004)  # lengths round to whole steps


@pytest.mark.parametrize(
    ("turn_degrees", "speed_mm_per_s"),
    [(120, 3.162278), (90, 4.913465), (60, 8.039964), (45, 11.016838), (30, 16.836787)],
)
def test_a_corner_is_taken_at_the_speed_of_its_junction_deviation(turn_degrees, speed_mm_per_s):
    """Geometry: the circle that passes 0.01 mm from the corner, at 1000 mm/s² along its radius.

    The acceleration an axis pair allows along the corner's own direction is greater by
    1 / max(|ux|, |uy|), which the firmware takes into account.
    """
    host = Host()
    planner = host.machine.controller.engine.planner
    angle = math.radians(turn_degrees)
    before, after = (1.0, 0.0, 0.0), (math.cos(angle), math.sin(angle), 0.0)
    along = [b - a for a, b in zip(before, after, strict=True)]
    share = max(abs(part) for part in along) / math.hypot(*along)

    speed2 = planner._junction2(before, after)

    assert math.sqrt(speed2 * share) == pytest.approx(speed_mm_per_s, rel=1e-4)


def test_the_last_block_queued_always_ends_at_rest():
    host = Host()

    host.run("G91G1X3F6000")

    assert host.report().feed == 0
    assert host.machine.controller.engine.stepper.speed == 0
