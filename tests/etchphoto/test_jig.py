"""Jigs: where tiles lie on the bed, against plane geometry."""

import cmath
import math
from dataclasses import replace

import pytest
from msgspec import structs

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Corners, Jig, Pockets
from etchphoto.layout.jig_file import read_jig
from etchphoto.layout.jig_measuring import with_measured_depth
from etchwire.bed import Bed
from etchwire.calls.catalogue import ReadingEntry
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.jigs import JigRecord, Side
from etchwire.errors import UnreadableSheet
from support.samples.designs import jig_of_toml
from support.samples.sheets import JIG_TABLE

POCKETS = Pockets(
    columns=4, rows=3, pitch_x_mm=95, pitch_y_mm=96, width_mm=91, height_mm=90
)  # fmt: skip
TEXT = """
format = "etchwarden-jig"
version = 1
name = "Coasters"
exhaust = "left"

[pockets]
columns = 4
rows = 3
pitch_x_mm = 95
pitch_y_mm = 96
width_mm = 91
height_mm = 90

[corners]
lower_left_mm = [5.0, 6.0]
upper_right_mm = [381.0, 288.0]
"""


def laid(degrees=0.0, **changes):
    """Return a jig that lies with its first corner at (5, 6), turned so far."""
    far = complex(5, 6) + complex(376, 282) * cmath.rect(1, math.radians(degrees))
    corners = Corners(lower_left_mm=(5.0, 6.0), upper_right_mm=(far.real, far.imag))
    return Jig(**{"name": "Coasters", "pockets": POCKETS, "corners": corners} | changes)


def test_a_jig_that_lies_square_has_its_pockets_a_pitch_apart():
    places = laid().places()

    assert [place.number for place in places] == list(range(1, 13))
    assert places[0].middle_mm == pytest.approx((5 + 45.5, 6 + 45))
    assert places[3].middle_mm == pytest.approx((5 + 3 * 95 + 45.5, 6 + 45))
    assert places[8].middle_mm == pytest.approx((5 + 45.5, 6 + 2 * 96 + 45))
    assert places[0].corner_mm(90, 88) == pytest.approx((5.5, 7))


@pytest.mark.parametrize("degrees", [0.15, -0.18])
def test_a_jig_that_lies_a_little_askew_is_turned_about_its_first_corner(degrees):
    """A place is the corner plus its place in the jig times e^(i angle), in the complex plane."""
    for place in laid(degrees).places():
        in_jig = complex(place.column * 95 + 45.5, place.row * 96 + 45)
        on_bed = complex(5, 6) + in_jig * cmath.rect(1, math.radians(degrees))
        assert place.middle_mm == pytest.approx((on_bed.real, on_bed.imag), abs=1e-9)


@pytest.mark.parametrize(
    ("exhaust", "first", "last"),
    [(Side.BACK, 9, 4), (Side.FRONT, 1, 12), (Side.LEFT, 1, 12), (Side.RIGHT, 4, 9)],
)
def test_tiles_at_the_exhaust_are_etched_first(exhaust, first, last):
    order = laid(exhaust=exhaust).in_order()

    assert (order[0].number, order[-1].number, len(order)) == (first, last, 12)


UNFIT = (
    ({"pitch_x_mm": 90}, "the pockets overlap: from column to column it is 90 mm"),
    ({"pitch_y_mm": 89.9}, "the pockets overlap: from row to row"),
    ({"columns": 0}, "1 to 400 pockets"),
    ({"columns": 21, "rows": 20}, "1 to 400 pockets"),
    ({"width_mm": math.inf}, "large"),
)


@pytest.mark.parametrize(("changes", "said"), UNFIT, ids=[str(row[0]) for row in UNFIT])
def test_pockets_that_nobody_makes_are_refused(changes, said):
    with pytest.raises(UnfitDesign, match=said):
        replace(POCKETS, **changes)


def test_pockets_may_touch_and_a_single_one_has_no_neighbour():
    assert replace(POCKETS, pitch_x_mm=91)
    assert replace(POCKETS, columns=1, pitch_x_mm=1)


def test_corners_of_another_jig_and_a_jig_askew_are_refused():
    with pytest.raises(UnfitDesign, match=r"lie 471\.6 mm apart, and those of such a jig 470\.0"):
        laid(corners=Corners(lower_left_mm=(5, 6), upper_right_mm=(383, 288)))
    with pytest.raises(UnfitDesign, match=r"askew by 0\.25°.* 0\.4 mm out of true"):
        laid(0.25)
    with pytest.raises(UnfitDesign, match="apart"):
        laid(corners=Corners(lower_left_mm=(5, 6), upper_right_mm=(math.nan, 288)))


def test_a_jig_larger_than_the_bed_and_a_tile_larger_than_a_pocket_are_refused():
    head = PRACTICE_HEADS["practice-20w"]
    laid().require_on_bed(head)
    with pytest.raises(UnfitDesign, match="take 376 × 282 mm, but practice 20 W moves only 370"):
        laid().require_on_bed(replace(head, travel_x_mm=370.0))
    laid().require_fits(91, 90)
    with pytest.raises(UnfitDesign, match=r"91\.1 × 90 mm does not lie in a pocket of 91 × 90 mm"):
        laid().require_fits(91.1, 90)


def test_a_jig_is_read_from_its_file_strictly(tmp_path):
    (tmp_path / "jig.toml").write_text(TEXT)

    assert read_jig(tmp_path / "jig.toml") == laid(exhaust=Side.LEFT)
    for old, new, said in (
        ("columns = 4", "colums = 4", "'colums' on line 8"),
        ("lower_left_mm", "lower_mm", "'lower_mm' on line 16"),
        ("[5.0, 6.0]", "[5.0]", "lower_left_mm on line 16: expected `array` of length 2"),
        ("exhaust = \"left\"", "exhaust = \"up\"", "the exhaust is at the left"),
        ("etchwarden-jig", "jig", "no jig of ours"),
    ):  # fmt: skip
        with pytest.raises(UnfitDesign) as refused:
            jig_of_toml(TEXT.replace(old, new))
        assert said in str(refused.value)


def test_a_jig_that_a_machine_keeps_comes_back_as_it_was():
    jig = laid(0.1, exhaust=Side.LEFT, tile_mm=6.0, focus_depth_mm=0.6)

    assert Jig.of_record(JigRecord.from_table(jig.record.to_table())) == jig


def reading(**summary):
    return ReadingEntry(
        id=1, card_number=1, kind="focus", head="a laser", surface="white", way="camera", marks={},
        photos=(), summary=summary, recommended=None, chosen=None, chosen_by=None,
        chosen_at_utc=None, at_utc="", who="", software="",
    )  # fmt: skip


def test_the_depth_of_focus_is_that_of_the_laser_s_newest_focus_card_unless_somebody_said_one():
    readings = [reading(), reading(in_focus_mm=1.4), reading(in_focus_mm=2.0)]

    assert with_measured_depth(laid(), readings).focus_depth_mm == 1.4
    assert with_measured_depth(laid(focus_depth_mm=0.6), readings).focus_depth_mm == 0.6
    assert with_measured_depth(laid(), [reading(in_focus_mm=None)]) == laid()
    warped = with_measured_depth(laid(), readings)
    warped.require_in_focus(1, thickness_mm=0.0, warp_mm=1.4)
    with pytest.raises(UnfitDesign, match=r"in focus over 1\.4 mm"):
        warped.require_in_focus(1, thickness_mm=0.0, warp_mm=1.5)


def test_a_jig_lies_within_the_travel_as_seen_from_the_origin():
    bed = Bed(left_mm=0.0, bottom_mm=0.0, right_mm=381.0, top_mm=288.0, is_homed=True)
    laid().require_within(bed)

    with pytest.raises(UnfitDesign, match="pocket 1 lies outside the bed"):
        laid().require_within(structs.replace(bed, left_mm=5.1))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": " "}, "jig"),
        ({"exhaust": "up"}, "left, right, front, back"),
        ({"rows": 0}, "1 to 400 pockets"),
        ({"columns": 401}, "1 to 400 pockets"),
        ({"pitch_x_mm": 0.0}, "pitch_x_mm must be a number above zero"),
        ({"tile_mm": -1.0}, "tile_mm must be from 0"),
        ({"lower_left_x_mm": "left"}, "lower_left_x_mm cannot be"),
    ],
)
def test_what_no_machine_can_keep_is_refused(change, said):
    with pytest.raises(UnreadableSheet, match=said):
        JigRecord.from_table(JIG_TABLE | change)
