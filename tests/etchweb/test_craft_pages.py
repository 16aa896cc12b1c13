"""Lasers, and tiles and paints, are described on the page as the logbook keeps them."""

import time

import pytest

from etchweb.catalogue.forms import INPUT_WATTS
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Head
from etchwire.catalogue.records import Surface

KNOWN = PRACTICE_HEADS["practice-20w"]
LASER = {
    "name": "the new one", "rated_optical_w": "10,5", "spot_x_mm": "0.08", "spot_y_mm": "0.1",
    "max_s": "1000", "max_feed_mm_per_min": "10000", "acceleration_mm_per_s2": "500",
    "travel_x_mm": "400", "travel_y_mm": "400", "notes": "from the big box",
}  # fmt: skip
SURFACE = {
    "name": "bathroom white", "tile": "glossy 15 cm", "batch": "7", "paint": "matt white",
    "coating": "spray", "coats": "2", "coated_on": "2026-11-24",
}  # fmt: skip


def test_a_laser_is_described(phone, daemon):
    assert phone.press("lasers", form=LASER).status_code == 303

    head = Head.from_table(daemon.said["save_head"]["head"])
    assert (head.name, head.rated_optical_w) == ("the new one", 10.5)
    assert not head.is_spot_measured
    assert daemon.said["save_head"]["notes"] == "from the big box"


def test_a_change_keeps_where_rows_meet(phone, daemon):
    changed = LASER | {"name": KNOWN.name, "is_spot_measured": "yes"}

    phone.press("lasers", form=changed)

    head = Head.from_table(daemon.said["save_head"]["head"])
    assert head.register == KNOWN.register
    assert head.is_spot_measured


def test_a_form_of_a_known_laser_is_filled_in(phone):
    page = phone.look(f"/lasers?name={KNOWN.name}")

    assert f'value="{KNOWN.rated_optical_w:g}"' in page.text
    assert INPUT_WATTS in page.text


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"rated_optical_w": "-3"}, "Light output"),
        ({"rated_optical_w": "nan"}, "Light output"),
        ({"travel_x_mm": ""}, "Travel to the right"),
    ],
)
def test_a_laser_that_cannot_be_is_refused_and_what_was_typed_stays(phone, daemon, wrong, words):
    answer = phone.press("lasers", form=LASER | wrong)

    assert answer.status_code == 422
    assert words in answer.text
    assert 'value="the new one"' in answer.text
    assert "save_head" not in daemon.said


def test_a_wiped_lens_is_noted(phone, daemon):
    phone.press("lasers/lens-wiped", form={"name": KNOWN.name})

    assert daemon.said["wipe_lens"]["head"] == KNOWN.name


def test_a_new_filter_is_noted_and_its_hours_stand_beside_the_lasers(phone, daemon):
    answer = phone.press("lasers/filter-changed")
    page = phone.look("/lasers").text

    assert answer.headers["Location"].endswith("/lasers#filter")
    assert "change_filter" in daemon.said
    assert "1.5 hours of beam since it was changed on 24 Nov 2026." in page
    assert "Set a limit" in page


def test_tile_and_paint_are_described(phone, daemon):
    assert phone.press("tiles-and-paints", form=SURFACE).status_code == 303

    surface = Surface.from_table(daemon.said["save_surface"]["surface"])
    assert (surface.name, surface.coats) == ("bathroom white", 2)


def test_how_it_is_wiped_belongs_to_tile_and_paint(phone, daemon):
    wiped = {"solvent": "thinner", "cloth": "a pad", "wait_min": "15", "wiping": "firmly"}

    phone.press("tiles-and-paints", form=SURFACE | wiped)

    page = phone.look("/tiles-and-paints").text
    said = daemon.said["save_surface"]["surface"]
    assert {name: said[name] for name in wiped} == wiped | {"wait_min": 15.0}
    assert all(f'name="{name}"' in page for name in wiped)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"coating": "bucket"}, "how the paint was put on"),
        ({"coats": "many"}, "must be whole"),
        ({"coats": "77"}, "no number of coats"),
        ({"coats": "9" * 5000}, "must be whole"),
        ({"coated_on": "yesterday"}, "write it as"),
        ({"name": ""}, "no name"),
    ],
)
def test_a_surface_that_cannot_be_is_refused(phone, daemon, wrong, words):
    answer = phone.press("tiles-and-paints", form=SURFACE | wrong)

    assert answer.status_code == 422
    assert words in answer.text
    assert "save_surface" not in daemon.said


@pytest.mark.parametrize("path", ["lasers", "tiles-and-paints", "lasers/lens-wiped"])
def test_what_the_logbook_refuses_is_said(phone, daemon, path):
    daemon.refuse("The logbook cannot be written.")

    answer = phone.press(path, form=LASER | SURFACE)

    assert answer.status_code == 409
    assert "The logbook cannot be written." in answer.text


@pytest.mark.parametrize("path", ["/lasers", "/tiles-and-paints"])
def test_who_may_only_watch_sees_them_and_changes_nothing(pair_phone, path):
    watching = pair_phone("watch", time.time())

    page = watching.look(path)

    assert page.status_code == 200
    assert f'action="{path}"' not in page.text
    assert watching.press(path[1:], form=LASER).status_code == 403
