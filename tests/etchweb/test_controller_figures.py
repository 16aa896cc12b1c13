"""What the controller's settings say of a laser, and which laser they fit."""

from dataclasses import replace

import pytest

from etchweb.catalogue.controller_figures import controller_figures, fits
from etchwire.calls.json_values import from_json_value
from etchwire.calls.machine import ControllerSettings
from support.fakes.catalogue_answers import HEAD
from support.fakes.fake_machine import SETTINGS

# $30 maximum spindle speed, $110/$111 maximum rates, $120/$121 accelerations, $130/$131 travel: the
# controller firmware's documentation of its settings.
SAID = {30: "1000", 110: "10000.000", 111: "12000.000", 120: "1500.000", 121: "1000.000",
        130: "400.000", 131: "300.000"}  # fmt: skip
GROUPS = ((30,), (110, 111), (120, 121), (130, 131))
FIGURES = {
    "max_s": 1000.0, "max_feed_mm_per_min": 10000.0, "acceleration_mm_per_s2": 1000.0,
    "travel_x_mm": 400.0, "travel_y_mm": 300.0,
}  # fmt: skip


def settings(said=SAID, **changes):
    views = [
        {"name": "any", "numbers": list(numbers), "values": [said.get(one) for one in numbers],
         "unit": "", "is_good": True, "sentence": ""}
        for numbers in GROUPS
    ]  # fmt: skip
    return from_json_value({**SETTINGS, "settings": views, **changes}, ControllerSettings)


def test_the_slower_axis_tells_what_a_laser_can_do():
    assert controller_figures(settings()) == FIGURES


@pytest.mark.parametrize("wrong", [None, "", "0", "-1", "nan", "inf", "fast"])
def test_a_setting_that_is_no_figure_leaves_its_entry_out(wrong):
    found = controller_figures(settings({**SAID, 111: wrong}))

    assert found == {name: one for name, one in FIGURES.items() if name != "max_feed_mm_per_min"}


@pytest.mark.parametrize("unread", [None, settings(is_read=False)])
def test_a_controller_that_was_not_read_tells_nothing_and_fits_no_laser(unread):
    assert controller_figures(unread) == {}
    assert not fits(HEAD, {})


def test_a_laser_fits_the_controller_by_every_figure_that_it_tells():
    head = replace(HEAD, **FIGURES)

    assert fits(head, FIGURES)
    assert not any(fits(replace(head, **{name: 250.0}), FIGURES) for name in FIGURES)
    assert fits(head, {"max_s": 1000.0})
