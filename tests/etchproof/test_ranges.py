from dataclasses import replace
from itertools import pairwise

import pytest

from darkroom.cards import HEAD
from etchproof.layout.ranges import GOOD_SETTINGS, good_feed_mm_per_min, power_law, starting_range

FAR = 100_000.0


def head_of(watts):
    return replace(HEAD, rated_optical_w=watts)


def test_the_known_good_settings_lie_on_a_power_law_within_five_per_cent():
    # common practice, no source
    _, exponent = power_law()

    assert exponent == pytest.approx(1.9, abs=0.05)
    for setting in GOOD_SETTINGS:
        feed = good_feed_mm_per_min(setting.power_w)
        assert feed == pytest.approx(setting.feed_mm_per_min, rel=0.05)


@pytest.mark.parametrize(
    ("watts", "feeds", "powers"),
    [  # common practice, no source
        (20.0, (3000, 8000), (0.50, 1.0)),
        (10.0, (1000, 5000), (0.50, 1.0)),
        (5.0, (250, 1250), (0.15, 1.0)),
        (5.2, (250, 1250), (0.15, 1.0)),
    ],
)
def test_a_known_rating_starts_with_what_its_owners_use(watts, feeds, powers):
    found = starting_range(head_of(watts), FAR)

    assert (found.low_feed_mm_per_min, found.high_feed_mm_per_min) == feeds
    assert (found.low_power_ratio, found.high_power_ratio) == powers
    assert found.notes == ()


def test_any_other_rating_is_a_guess_by_the_law_and_says_so():
    found = starting_range(head_of(15.0), FAR)

    assert found.low_feed_mm_per_min == pytest.approx(good_feed_mm_per_min(7.5))
    assert found.high_feed_mm_per_min == pytest.approx(good_feed_mm_per_min(15.0))
    assert "guess" in found.notes[0]


@pytest.mark.parametrize("watts", [1.0, 1.6, 2.5, 7.0])
def test_a_weak_laser_s_guess_stays_within_the_dose_that_surfaces_need(watts):
    # common practice, no source
    found = starting_range(head_of(watts), FAR)

    dose = watts * 60 / (found.low_feed_mm_per_min * 0.1)
    assert dose == pytest.approx(10.0)
    assert found.low_feed_mm_per_min < good_feed_mm_per_min(watts) * 2


@pytest.mark.parametrize("watts", [30.0, 40.0, 60.0, 100.0])
def test_a_strong_laser_s_guess_has_no_five_digit_speed(watts):
    # common practice, no source
    found = starting_range(head_of(watts), FAR)

    assert found.high_feed_mm_per_min <= 8000
    assert found.high_power_ratio < 1
    for feed in (found.low_feed_mm_per_min, found.high_feed_mm_per_min):
        weakest, strongest = (
            good_feed_mm_per_min(watts * power)
            for power in (found.low_power_ratio, found.high_power_ratio)
        )
        assert weakest < feed < strongest, "what is good by the law is on the card at every speed"


def test_an_impossible_speed_becomes_a_lower_power_of_the_same_darkness():
    exponent = power_law()[1]

    free, held = starting_range(head_of(40.0), FAR), starting_range(head_of(40.0), 6000.0)

    assert held.high_feed_mm_per_min == 6000.0
    for power, feed in (("high_power_ratio", "high_feed_mm_per_min"),
                        ("low_power_ratio", "low_feed_mm_per_min")):  # fmt: skip
        darkness = [getattr(r, power) ** exponent / getattr(r, feed) for r in (free, held)]
        assert darkness[1] == pytest.approx(darkness[0])
    assert "reach only 6000 mm/min" in held.notes[-1]


def test_speeds_step_in_one_proportion_and_powers_by_one_amount():
    found = starting_range(head_of(10.0), FAR)

    feeds, powers = found.feeds(6), found.powers(6)

    ratios = [fast / slow for slow, fast in pairwise(feeds)]
    assert max(ratios) / min(ratios) == pytest.approx(1, abs=0.01)
    assert powers == (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
