"""The bed: what lies outside it, and what is said of a job that would leave it."""

import re

import numpy as np
import pytest

from etchwire.bed import Bed
from etchwire.sheet import Bounds

UNHOMED = Bed.unhomed(400.0, 300.0)
HOMED = Bed(left_mm=-50.0, bottom_mm=-20.0, right_mm=350.0, top_mm=280.0, is_homed=True)


def way(left, bottom, right, top):
    return Bounds(left_mm=left, bottom_mm=bottom, right_mm=right, top_mm=top)


@pytest.mark.parametrize(
    ("bed", "place", "is_outside"),
    [
        (UNHOMED, (-400.0, -300.0), False),
        (UNHOMED, (400.0, 300.0), False),
        (UNHOMED, (-400.001, 0.0), True),
        (UNHOMED, (0.0, 300.001), True),
        (HOMED, (-50.0, -20.0), False),
        (HOMED, (350.0, 280.0), False),
        (HOMED, (-50.001, 0.0), True),
        (HOMED, (350.001, 0.0), True),
        (HOMED, (0.0, -20.001), True),
        (HOMED, (0.0, 280.001), True),
    ],
)
def test_a_place_is_outside_by_the_travel_or_by_the_bed(bed, place, is_outside):
    assert bed.is_outside(*place) is is_outside


def test_many_places_are_judged_at_once():
    x_mm, y_mm = np.array([0.0, 351.0, 0.0]), np.array([0.0, 0.0, -21.0])

    assert HOMED.is_outside(x_mm, y_mm).tolist() == [False, True, True]


@pytest.mark.parametrize(
    ("bed", "way", "said"),
    [
        (HOMED, way(-50.0, -20.0, 350.0, 280.0), None),
        (UNHOMED, way(0.0, 0.0, 400.0, 300.0), None),
        (UNHOMED, way(-390.0, -290.0, 0.0, 0.0), None),
        (HOMED, way(0, 0, 362.3, 10), "x 362.3 mm, and the bed ends at 350.0 mm; set the origin"
         " 12.3 mm further left"),
        (HOMED, way(-51, 0, 10, 10), "to the left to x -51.0 mm.* 1.0 mm further right"),
        (HOMED, way(0, -20.01, 10, 10), "downwards .* 0.1 mm further up"),
        (HOMED, way(0, 0, 10, 290), "upwards to y 290.0 mm.* 10.0 mm further down"),
        (UNHOMED, way(0, 0, 401, 10), "moves 401.0 mm along x, but the machine has 400 mm"),
        (UNHOMED, way(0, 0, 10, 301), "along y"),
    ],
)  # fmt: skip
def test_a_job_that_would_leave_the_bed_is_told_where_and_how_to_mend_it(bed, way, said):
    objection = bed.objection(way)

    assert (objection is None) if said is None else re.search(said, objection)
