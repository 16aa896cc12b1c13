"""Monotone curves against scipy and published values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchproof.model.monotone import MonotoneCurve, never_falling
from support.harnesses.examples import examples

# checks.md 3.5, computed by scipy 1.17.1
X = np.array([0, 0.25, 0.5, 0.75, 1])
Y = np.array([0, 0.05, 0.4, 0.9, 1])


def test_the_worked_example_has_its_slopes_and_values():
    curve = MonotoneCurve.through(X, Y)

    assert curve.slopes == pytest.approx([0, 0.35, 1.647058824, 0.666666667, 0], abs=1e-9)
    assert curve(np.array([0.1, 0.3, 0.6, 0.9])) == pytest.approx(
        [0.0092, 0.084423529, 0.619294118, 0.9808], abs=1e-9
    )


def test_flat_steps_stay_flat():
    curve = MonotoneCurve.through(np.arange(5), np.array([0, 0, 1, 1, 2]))

    assert curve.slopes == pytest.approx([0, 0, 0, 0, 1.5])
    assert curve(np.array([0.5, 1.5, 2.5, 3.5])) == pytest.approx([0, 0.5, 1, 1.3125])


@pytest.mark.slow
def test_a_natural_spline_overshoots_where_ours_does_not():
    from scipy.interpolate import CubicSpline  # noqa: PLC0415  slow to load

    fine = np.linspace(0, 1, 1001)

    spline = CubicSpline(X, Y, bc_type="natural")(fine)
    ours = MonotoneCurve.through(X, Y)(fine)

    assert (spline.min(), spline.max()) == pytest.approx((-0.002152, 1.001604), abs=1e-5)
    assert ours.min() == 0
    assert ours.max() == 1


@st.composite
def points(draw):
    count = draw(st.integers(2, 12))
    steps = draw(st.lists(st.floats(0.01, 5), min_size=count, max_size=count))
    y = draw(st.lists(st.floats(-10, 10), min_size=count, max_size=count))
    return np.cumsum(steps), np.array(y)


@pytest.mark.slow
@examples(60)
@given(points())
def test_ours_is_scipy_s_curve(given_points):
    from scipy.interpolate import PchipInterpolator  # noqa: PLC0415  slow to load

    x, y = given_points
    fine = np.linspace(x[0], x[-1], 200)

    theirs = PchipInterpolator(x, y)(fine)

    assert MonotoneCurve.through(x, y)(fine) == pytest.approx(theirs, abs=1e-8)


@examples(60)
@given(points())
def test_a_curve_through_rising_points_never_falls(given_points):
    x, y = given_points
    fine = np.linspace(x[0], x[-1], 400)

    assert np.diff(MonotoneCurve.through(x, np.sort(y))(fine)).min() >= -1e-9


@pytest.mark.parametrize("x", [[0.0], [0.0, 0.0], [1.0, 0.0], [0.0, 1.0, 1.0]])
def test_points_that_do_not_rise_make_no_curve(x):
    with pytest.raises(ValueError, match="whose x rises"):
        MonotoneCurve.through(np.array(x), np.array(x))


@pytest.mark.slow
@examples(100)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_the_nearest_rising_series_is_scikit_learn_s(values):
    from sklearn.isotonic import isotonic_regression  # noqa: PLC0415  slow to load

    assert never_falling(np.array(values)) == pytest.approx(
        isotonic_regression(np.array(values)), abs=1e-9
    )
