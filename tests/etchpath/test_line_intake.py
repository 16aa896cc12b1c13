"""The speeds that a controller's own processor allows."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etchpath.motion import line_intake
from etchpath.motion.planner import Moves, planned
from etchwire.controller.profile import EIGHT_BIT, THIRTY_TWO_BIT, ControllerProfile
from support.harnesses.gcode_bench import MACHINE, inspected, machine
from support.samples.cycle_figures import (
    BY_ACCELERATION,
    OTHER_ROWS,
    RANDOM_RUNS,
    ROW_LINES,
    SUSTAINED,
    WITHIN,
)

BENCH = machine(
    acceleration_x_mm_per_s2=1000.0,
    acceleration_y_mm_per_s2=1000.0,
    max_feed_x_mm_per_min=10000.0,
    max_feed_y_mm_per_min=10000.0,
)


def row(lengths_mm, feed_mm_per_min):
    count = len(lengths_mm)
    feed = np.full(count, feed_mm_per_min / 60)
    return Moves(np.asarray(lengths_mm), np.zeros(count), feed, np.zeros(count, dtype=bool))


def speed_mm_per_min(lengths_mm, feed_mm_per_min, on=BENCH):
    """The mean over the middle of a row."""
    travel = planned(row(lengths_mm, feed_mm_per_min), on)
    middle = slice(len(lengths_mm) // 3, len(lengths_mm) * 9 // 10)
    return travel.length_mm[middle].sum() / travel.seconds[middle].sum() * 60


@pytest.mark.parametrize(("length_mm", "asked", "true"), SUSTAINED)
def test_a_row_of_equal_dots_runs_as_the_firmware_image_runs_it(length_mm, asked, true):
    assert speed_mm_per_min([length_mm] * 1000, asked) == pytest.approx(true, rel=WITHIN)


@pytest.mark.parametrize(("acceleration", "true"), BY_ACCELERATION)
def test_a_short_queue_costs_more_or_less_with_the_acceleration(acceleration, true):
    on = replace(BENCH, acceleration_x_mm_per_s2=float(acceleration))

    assert speed_mm_per_min([0.1] * 1000, 4000, on) == pytest.approx(true, rel=WITHIN)


class Speeds:
    """Watches a preflight go by, and keeps how far each piece goes and how long it lasts."""

    def __init__(self):
        self.length_mm, self.seconds = np.empty(0), np.empty(0)

    def see_times(self, timed):
        self.length_mm = np.append(self.length_mm, timed.travel.length_mm)
        self.seconds = np.append(self.seconds, timed.seconds)


@pytest.mark.parametrize("name", OTHER_ROWS)
def test_a_row_of_other_lines_runs_as_the_firmware_image_runs_it(name):
    lines, _, true = OTHER_ROWS[name]
    speeds = Speeds()

    inspected("\n".join(lines) + "\n", BENCH, on_times=[speeds.see_times])

    middle = slice(ROW_LINES // 3, ROW_LINES * 9 // 10)
    speed = speeds.length_mm[middle].sum() / speeds.seconds[middle].sum() * 60
    assert speed == pytest.approx(true, rel=WITHIN)


def test_runs_of_one_to_three_dots_keep_the_speed_that_single_dots_do_not():
    lengths = np.random.default_rng(1).integers(1, 4, 3000) * 0.1

    assert speed_mm_per_min(lengths, 4000) == pytest.approx(RANDOM_RUNS, rel=0.005)


def test_a_little_more_speed_asked_for_is_less_speed_run():
    """The queue either stays full or runs short: F2400 is exact, F2500 starves (the same run)."""
    assert speed_mm_per_min([0.1] * 1000, 2400) == pytest.approx(2400, rel=0.001)
    assert speed_mm_per_min([0.1] * 1000, 2500) < 2350


def test_a_dense_part_is_made_up_for_by_nothing_and_a_short_one_by_the_queue():
    long = planned(row([5.0] + [0.1] * 400 + [5.0], 4000), BENCH)
    short = planned(row([5.0] + [0.1] * 10 + [5.0], 4000), BENCH)

    assert long.seconds.sum() > 1.2 * long.full_queue_s.sum()
    assert short.seconds.sum() == pytest.approx(short.full_queue_s.sum(), rel=0.001)


def test_a_processor_that_is_never_the_limit_leaves_the_look_ahead_alone():
    # sqrt(2 a d (N - 1)): the firmware's planner, elementary mechanics
    quick = replace(BENCH, costs=EIGHT_BIT.costs.times(1e-6))
    travel = planned(row([0.1] * 400, 8000), quick)

    assert travel.exit_mm_per_s[200] == pytest.approx((2 * 1000 * 0.1 * 14) ** 0.5)
    assert travel.seconds is travel.full_queue_s or (travel.seconds == travel.full_queue_s).all()


def test_an_assumed_32_bit_controller_runs_single_dots_at_any_speed_a_tile_needs():
    quick = replace(BENCH, planner_blocks=100, costs=THIRTY_TWO_BIT.costs)

    assert speed_mm_per_min([0.1] * 1000, 8000, quick) == pytest.approx(8000, rel=0.001)


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(1, 8), min_size=80, max_size=500), st.sampled_from([2000, 4000, 8000]))
def test_pieces_worked_out_side_by_side_are_the_path_worked_out_from_its_start(dots, feed):
    moves = row(np.array(dots) * 0.1, feed)
    whole = line_intake._PIECE_BLOCKS
    try:
        line_intake._PIECE_BLOCKS = len(dots)
        alone = planned(moves, MACHINE).seconds.sum()
    finally:
        line_intake._PIECE_BLOCKS = whole

    assert planned(moves, MACHINE).seconds.sum() == pytest.approx(alone, rel=0.002)


def test_a_profile_travels_as_a_table():
    assert ControllerProfile.from_table(EIGHT_BIT.to_table()) == EIGHT_BIT
