"""Heads and recipes: their arithmetic, and what is no head and no recipe."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.catalogue.heads import Head, Recipe, Register, dose_j_per_mm2
from etchwire.catalogue.records import with_own_figures
from etchwire.errors import UnreadableSheet
from etchwire.plain import SMALLEST, require_positive
from support.samples.sheets import HEAD, RECIPE

FIGURES = (
    "rated_optical_w",
    "spot_x_mm",
    "spot_y_mm",
    "max_s",
    "max_feed_mm_per_min",
    "acceleration_mm_per_s2",
    "travel_x_mm",
    "travel_y_mm",
)
NO_FIGURES = (0, -1.0, math.nan, math.inf, True, None, "12", [1], 10**400)


def test_the_dose_of_12_w_at_4000_mm_per_min_and_a_tenth_is_1_8_j_per_mm2():
    # Area dose = P / (v h), the usual definition in laser-processing papers.
    dose = dose_j_per_mm2(power_w=12.0, feed_mm_per_min=4000.0, line_spacing_mm=0.1)

    assert dose == pytest.approx(1.8, rel=1e-12)
    assert RECIPE.dose_j_per_mm2(HEAD) == pytest.approx(1.8, rel=1e-12)


@pytest.mark.parametrize(
    ("rated_w", "feed_mm_per_min", "power_ratio", "dose"),
    [(20.0, 4000.0, 0.6, 1.8), (10.0, 2400.0, 0.9, 2.25), (5.0, 500.0, 0.8, 4.8)],
)
def test_settings_in_use_have_doses_of_one_order(rated_w, feed_mm_per_min, power_ratio, dose):
    # The settings are common practice, no source; the doses are P / (v h) by hand.
    head = replace(HEAD, rated_optical_w=rated_w)
    recipe = replace(RECIPE, feed_mm_per_min=feed_mm_per_min, power_ratio=power_ratio)

    assert recipe.dose_j_per_mm2(head) == pytest.approx(dose, rel=1e-12)
    assert recipe.power_w(head) == pytest.approx(rated_w * power_ratio)


@given(st.floats(0.1, 100), st.floats(1, 20_000), st.floats(0.01, 1), st.floats(1.001, 10))
def test_dose_grows_with_power_and_falls_with_speed_and_spacing(power_w, feed, spacing, factor):
    def dose(power_w=power_w, feed=feed, spacing=spacing):
        return dose_j_per_mm2(power_w=power_w, feed_mm_per_min=feed, line_spacing_mm=spacing)

    assert dose(power_w=power_w * factor) == pytest.approx(dose() * factor)
    assert dose(feed=feed * factor) == pytest.approx(dose() / factor)
    assert dose(spacing=spacing * factor) == pytest.approx(dose() / factor)


def test_a_row_starts_earlier_by_the_beam_s_lag_and_half_the_slack():
    register = Register(beam_lag_s=0.0006, slack_mm=0.05)

    assert register.lead_mm(6000.0) == pytest.approx(100 * 0.0006 + 0.025)
    assert Register().lead_mm(6000.0) == 0.0


def test_the_spacing_is_held_against_the_spot_s_extent_across_the_rows():
    assert HEAD.spot_mm == HEAD.spot_y_mm != HEAD.spot_x_mm


@pytest.mark.parametrize("thing", [HEAD, RECIPE, HEAD.register], ids=type)
def test_a_table_says_all_there_is(thing):
    assert type(thing).from_table(thing.to_table()) == thing


def test_a_head_without_a_register_is_one_that_needs_none():
    table = {name: value for name, value in HEAD.to_table().items() if name != "register"}

    assert Head.from_table(table).register == Register()


@pytest.mark.parametrize("name", FIGURES)
@pytest.mark.parametrize("value", NO_FIGURES, ids=lambda value: repr(value)[:8])
def test_a_head_s_figure_must_be_a_number_above_zero(name, value):
    with pytest.raises(UnreadableSheet, match=name):
        Head.from_table(HEAD.to_table() | {name: value})


@pytest.mark.parametrize("name", ["feed_mm_per_min", "power_ratio", "line_spacing_mm"])
@pytest.mark.parametrize("value", NO_FIGURES, ids=lambda value: repr(value)[:8])
def test_a_recipe_s_figure_must_be_a_number_above_zero(name, value):
    with pytest.raises(UnreadableSheet):
        Recipe.from_table(RECIPE.to_table() | {name: value})


@pytest.mark.parametrize(("name", "value"), [("surface", 7), ("surface", None), ("air_assist", 1)])
def test_a_recipe_s_words_must_be_words(name, value):
    with pytest.raises(UnreadableSheet, match=name):
        Recipe.from_table(RECIPE.to_table() | {name: value})


def test_full_power_is_the_most_there_is():
    assert replace(RECIPE, power_ratio=1.0).power_w(HEAD) == HEAD.rated_optical_w
    with pytest.raises(UnreadableSheet, match="power 110 % is more than the laser has"):
        replace(RECIPE, power_ratio=1.1)


@pytest.mark.parametrize(("kind", "table"), [(Head, HEAD.to_table()), (Recipe, RECIPE.to_table())])
def test_every_entry_but_those_with_a_default_must_be_there(kind, table):
    may_lack = {"register", "controller", "air_assist", "pointer_x_mm", "pointer_y_mm",
                "is_spot_stated"}  # fmt: skip
    for name in set(table) - may_lack:
        with pytest.raises(UnreadableSheet, match=f"lacks the entry '{name}'"):
            kind.from_table({key: value for key, value in table.items() if key != name})


def test_a_pointer_may_shine_on_either_side_of_the_beam_but_at_a_known_place():
    assert replace(HEAD, pointer_x_mm=-12.5).pointer_x_mm == -12.5
    for value in (math.nan, math.inf, "left", None):
        with pytest.raises(UnreadableSheet, match="pointer_y_mm"):
            replace(HEAD, pointer_y_mm=value)


@pytest.mark.parametrize(("kind", "table"), [(Head, HEAD.to_table()), (Recipe, RECIPE.to_table())])
def test_an_entry_nobody_knows_is_named(kind, table):
    with pytest.raises(UnreadableSheet, match="unknown entry 'wavelength_nm'"):
        kind.from_table(table | {"wavelength_nm": 450})


@pytest.mark.parametrize(
    "register", [None, 3, [], "none", {"slack_mm": "x"}, {"slack_mm": math.nan}]
)
def test_a_register_that_is_none_is_refused(register):
    with pytest.raises(UnreadableSheet):
        Head.from_table(HEAD.to_table() | {"register": register})


@pytest.mark.parametrize("value", [SMALLEST, 1, 1e308])
def test_the_smallest_and_the_largest_number_are_above_zero(value):
    require_positive("it", value)


def test_what_is_next_to_nothing_is_refused_as_that():
    with pytest.raises(UnreadableSheet, match="it cannot be as small as 5e-324"):
        require_positive("it", 5e-324)


@pytest.mark.parametrize(("kind", "table"), [(Head, HEAD.to_table()), (Recipe, RECIPE.to_table())])
@pytest.mark.parametrize("value", [1e308, 10**400, 5e-324])
def test_a_figure_that_no_machine_has_is_named(kind, table, value):
    names = [name for name, figure in table.items() if isinstance(figure, float) and figure > 0]

    for name in names:
        with pytest.raises(UnreadableSheet, match=r"cannot be|above zero"):
            kind.from_table(table | {name: value})


SETTINGS = {"feed_mm_per_min": 4000.0, "power_ratio": 0.6, "line_spacing_mm": 0.1}
CURVE = {"wanted": [0, 1], "to_burn": [0, 1]}


@pytest.mark.parametrize("figures", [{"feed_mm_per_min": 3900.0}, {"power_ratio": 0.61}])
def test_a_tone_curve_does_not_follow_a_recipe_to_other_figures(figures):
    chosen = with_own_figures(SETTINGS | {"tone_curve": CURVE}, figures)

    assert chosen == SETTINGS | figures


def test_a_tone_curve_stays_with_a_recipe_whose_figures_are_said_again():
    chosen = with_own_figures(SETTINGS | {"tone_curve": CURVE}, {"power_ratio": 0.1 * 6})

    assert chosen["tone_curve"] == CURVE
