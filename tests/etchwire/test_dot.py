"""A dot's figures: they travel as a table, and what is no dot is refused."""

import pytest

from etchwire.catalogue.dot import Dot
from etchwire.catalogue.records import Curve
from etchwire.errors import UnreadableSheet

DOT = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06, fit_error=0.004)


def test_a_dot_travels_as_a_table():
    assert Dot.from_table(DOT.to_table()) == DOT


@pytest.mark.parametrize(
    "wrong",
    [
        {"spread_dots": 0.0},
        {"spread_dots": 9.0},
        {"threshold": 1.0},
        {"threshold": -0.1},
        {"scale": 0.0},
        {"steepness": float("nan")},
        {"black": 1.0},
        {"unevenness": 0.6},
        {"fit_error": -0.1},
        {"black": "dark"},
    ],
)
def test_what_makes_no_dot_is_refused(wrong):
    with pytest.raises(UnreadableSheet):
        Dot.from_table(DOT.to_table() | wrong)


def test_a_tone_curve_may_bring_the_dot_of_its_card_and_no_other_table():
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0]}

    assert Curve.from_table(curve | {"dot": DOT.to_table()}).dot == DOT.to_table()
    with pytest.raises(UnreadableSheet):
        Curve.from_table(curve | {"dot": {"spread_dots": 0.4}})
