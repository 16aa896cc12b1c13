"""What measured speeds say of a controller, by figures of a cycle-accurate run of the firmware."""

import pytest

from etchwire.controller.measured import Axis, SpeedSample, kept_mm_per_min, profile_of
from etchwire.controller.profile import EIGHT_BIT, THIRTY_TWO_BIT
from support.samples.cycle_figures import SUSTAINED, WITHIN

AXIS = Axis(acceleration_mm_per_s2=1000.0, steps_per_mm=80.0, max_feed_mm_per_min=10000.0)
BYTES_PER_S = 11520.0


def test_the_figures_of_the_8_bit_part_give_its_costs():
    samples = [SpeedSample(step, asked, seen, 8) for step, asked, seen in SUSTAINED]

    profile = profile_of(samples, AXIS, EIGHT_BIT, bytes_per_s=BYTES_PER_S)

    assert profile.is_measured
    assert profile.costs.read_s == pytest.approx(EIGHT_BIT.costs.read_s, rel=WITHIN)


@pytest.mark.parametrize(("dots", "least", "most"), [(1, 2390, 2500), (2, 4000, 4500)])
def test_the_highest_speed_kept_is_between_what_ran_full_and_what_starved(dots, least, most):
    """0.1 mm: F2400 ran just full, F2500 starved; 0.2 mm: F4000 ran full, more came out at 4170."""
    assert least <= kept_mm_per_min(dots * 0.1, AXIS, EIGHT_BIT) < most


def test_what_the_cable_or_the_look_ahead_holds_up_says_nothing_against_the_processor():
    cable = SpeedSample(0.05, 10000.0, 0.05 * BYTES_PER_S / 5 * 60, 5)

    profile = profile_of([cable], AXIS, THIRTY_TWO_BIT, bytes_per_s=BYTES_PER_S)

    assert profile.costs == THIRTY_TWO_BIT.costs
    assert profile.is_measured
