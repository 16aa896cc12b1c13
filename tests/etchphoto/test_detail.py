"""Local contrast and sharpness."""

import numpy as np
import pytest

from etchphoto.detail import MEANS_IN_A_ROW, mean_around, with_detail
from etchphoto.errors import UnfitOrder
from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.tone import Adjustments, coverage_to_burn


def edge():
    """Return two greys, L* 40 and 60, side by side."""
    values = np.full((48, 48), 40.0)
    values[:, 24:] = 60
    return luminance_of_lightness(values).astype(np.float32)


def test_the_mean_around_is_the_plain_one_taken_three_times():
    values = np.random.default_rng(1).uniform(0, 100, (300, 7)).astype(np.float32)
    plain = values.astype(float)
    for _ in range(MEANS_IN_A_ROW):
        for axis in (0, 1):
            padded = np.pad(plain, [(2, 2) if axis == side else (0, 0) for side in (0, 1)], "edge")
            plain = np.mean([np.take(padded, range(i, i + plain.shape[axis]), axis)
                             for i in range(5)], axis=0)  # fmt: skip

    assert mean_around(values, 2) == pytest.approx(plain, abs=1e-3)


def test_an_even_grey_stays_as_it_is():
    grey = np.full((30, 30), 0.25, dtype=np.float32)

    assert with_detail(grey, local_contrast=1, sharpness=1) == pytest.approx(grey, abs=1e-6)


def test_nothing_asked_for_changes_nothing():
    assert with_detail(edge(), local_contrast=0, sharpness=0) == pytest.approx(edge(), abs=1e-6)


def test_sharpness_lifts_the_light_side_of_an_edge_and_lowers_the_dark_one_near_it():
    values = lightness(with_detail(edge(), local_contrast=0, sharpness=1))

    assert values[20, 23] < 36
    assert values[20, 24] > 64
    assert values[20, [10, 40]] == pytest.approx([40, 60], abs=1e-3)


def test_local_contrast_reaches_further_than_sharpness():
    local = lightness(with_detail(edge(), local_contrast=1, sharpness=0))

    assert local[20, 19] < 39.5


def test_a_tall_picture_worked_out_in_parts_shows_no_seam():
    light = np.random.default_rng(3).uniform(0.2, 0.3, (700, 40)).astype(np.float32)
    values = lightness(light).astype(np.float32)
    plain = luminance_of_lightness(values + 1.0 * (values - mean_around(values, 1)))

    assert with_detail(light, local_contrast=0, sharpness=1) == pytest.approx(plain, abs=1e-5)


def test_detail_never_leaves_black_or_white():
    result = with_detail(edge(), local_contrast=5, sharpness=5)

    assert result.min() >= 0
    assert result.max() <= 1


def test_a_picture_with_detail_is_burnt_so():
    adjustments = Adjustments(local_contrast=0.5, sharpness=1, contrast=1.2)
    detailed = with_detail(edge(), local_contrast=0.5, sharpness=1)

    burnt = coverage_to_burn(edge(), adjustments)

    assert burnt == pytest.approx(coverage_to_burn(detailed, Adjustments(contrast=1.2)), abs=1e-6)


@pytest.mark.parametrize("wrong", [-0.1, 5.1, float("nan")])
@pytest.mark.parametrize("name", ["local_contrast", "sharpness"])
def test_more_detail_than_makes_sense_is_refused(name, wrong):
    with pytest.raises(UnfitOrder, match=name.replace("_", " ")):
        Adjustments(**{name: wrong})
