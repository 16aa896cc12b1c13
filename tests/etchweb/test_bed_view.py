"""The bed as a picture: what is drawn where."""

import pytest

from etchweb.machine.bed_drawing import bed_view, place_words
from etchwire.bed import Bed
from etchwire.sheet import Bounds
from support.fakes.fake_daemon import job_view

BED = Bed(left_mm=0.0, bottom_mm=0.0, right_mm=400.0, top_mm=300.0, is_homed=False)
HEAD_MM = (12.0, 58.8)
JOB = job_view(
    picture_mm={"left_mm": 5.0, "bottom_mm": 0.0, "right_mm": 105.0, "top_mm": 80.0},
    reach_mm={"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 110.0, "top_mm": 80.0},
)
PLACED_MM = Bounds(left_mm=40.0, bottom_mm=40.0, right_mm=60.0, top_mm=70.0)


def test_up_in_the_job_is_up_in_the_picture():
    view = bed_view(BED, HEAD_MM, JOB)

    assert view["head"] == {"x": 12.0, "y": -58.8}
    assert view["picture"] == {"x": 5.0, "y": -80.0, "width": 100.0, "height": 80.0}


def test_the_picture_holds_the_bed_and_a_margin():
    assert bed_view(BED, HEAD_MM)["view_box"] == "-20 -320 440 340"


def test_a_head_beyond_the_bed_is_still_in_the_picture():
    assert bed_view(BED, (-50.0, -30.0))["view_box"] == "-70 -320 490 370"


def test_the_way_of_the_run_ups_is_drawn_apart_from_what_is_etched():
    assert bed_view(BED, HEAD_MM, JOB)["reach"]["width"] == 110.0
    assert bed_view(BED, HEAD_MM, JOB, picture_mm=PLACED_MM)["reach"] is None


def test_a_picture_that_is_placed_stands_in_for_the_jobs_own():
    assert bed_view(BED, HEAD_MM, JOB, picture_mm=PLACED_MM)["picture"]["x"] == 40.0


def test_the_words_say_what_the_picture_shows():
    assert bed_view(BED, HEAD_MM)["words"] == (
        "The bed from above, 400 by 300 mm. The head is at x 12.0, y 58.8 mm."
    )
    nowhere = bed_view(BED, None)
    assert nowhere["words"] == "The bed from above, 400 by 300 mm."
    assert nowhere["head"] is None


@pytest.mark.parametrize(
    ("place", "words"), [((0, 0), "x 0.0, y 0.0 mm"), ((-0.01, 3), "x 0.0, y 3.0 mm")]
)
def test_a_place_is_said_to_a_tenth_of_a_millimetre(place, words):
    assert place_words(place) == words
