import pytest

from etchwire.catalogue.dose import DARKEST_PERCENT, LIGHTEST_PERCENT, feed_percent


@pytest.mark.parametrize("power_ratio", [0.3, 0.6, 0.8, 0.97, 1.0])
@pytest.mark.parametrize("strength", range(LIGHTEST_PERCENT, DARKEST_PERCENT + 1, 5))
def test_the_burn_strength_is_the_one_named_and_the_laser_can_give_it(power_ratio, strength):
    # With dynamic power the beam gets power × speed override, and the firmware caps the product.
    feed = feed_percent(power_ratio, strength) / 100
    beam_ratio = min(1.0, power_ratio * strength / 100 * feed)

    assert beam_ratio / feed == pytest.approx(power_ratio * strength / 100)
    assert feed == 1.0 or beam_ratio > 0.98
