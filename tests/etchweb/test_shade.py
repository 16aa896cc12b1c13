import html

import pytest

from etchweb.run.dose import shades_part
from etchweb.run.dose_views import NO_SHADE
from etchwire.catalogue.dose import DARKEST_PERCENT, LIGHTEST_PERCENT
from support.fakes.fake_daemon import job_view, run_view


def shades(power_percent=100, **job):
    return shades_part(job_view(**job), run_view(power_percent=power_percent))


def test_a_shade_says_what_it_does_to_speed_and_power():
    view = shades()

    assert view["darker_words"] == "Power 60 % → 63 %, speed as it is."
    assert view["lighter_words"] == "Power 60 % → 57 %, speed as it is."
    assert view["shade_words"] == "As the recipe asks."


def test_where_the_laser_has_no_more_to_give_it_goes_slower():
    view = shades(power_ratio=1.0)

    assert view["darker_words"] == "Power stays at 100 %, speed 4\u202f000 → 3\u202f800 mm/min."
    assert view["lighter_words"] == "Power 100 % → 95 %, speed as it is."


def test_how_far_it_is_from_the_recipe_is_said_in_shades():
    assert shades(power_percent=110)["shade_words"] == (
        "2 shades darker than the recipe: 66 % power at 4\u202f000 mm/min."
    )
    assert shades(power_percent=95)["shade_words"].startswith("1 shade lighter")


def test_at_either_end_there_is_no_further_shade():
    assert shades(power_percent=DARKEST_PERCENT)["darker_words"] == ""
    assert shades(power_percent=LIGHTEST_PERCENT)["lighter_words"] == ""


def test_pressing_asks_for_the_strength_named(phone, daemon):
    daemon.tell("etching")

    answer = phone.press("shade", form={"strength": "105"})

    assert answer.status_code == 303
    assert daemon.said == {"set_dose": {"percent": 105}}


@pytest.mark.parametrize("strength", ["", "x", "59", "151", "-5", "1e3"])
def test_what_is_no_shade_is_refused(phone, daemon, strength):
    daemon.tell("etching")

    answer = phone.press("shade", form={"strength": strength})

    assert (answer.status_code, daemon.asked) == (422, [])
    assert NO_SHADE in answer.text


def test_between_runs_the_daemon_says_why_there_is_no_shade(phone, daemon):
    daemon.refuse("Nothing is being etched.")

    answer = phone.press("shade", form={"strength": "105"})

    assert answer.status_code == 409
    assert "Nothing is being etched." in answer.text


def test_both_buttons_say_where_they_lead(phone, daemon):
    daemon.tell("etching")

    text = html.unescape(phone.look().text)

    assert "Power 60 % → 63 %" in text
    assert 'name="strength" value="105"' in text
