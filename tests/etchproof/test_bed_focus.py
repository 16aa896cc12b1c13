"""The focus over the bed: five readings, and what to pack where."""

from dataclasses import replace

import numpy as np
import pytest

from etchproof.card import BED_PLACES
from etchproof.choosing.bed_focus import BedFocus, PlaceFocus, places_of

AT_MM = {
    "centre": (150, 150), "front left": (0, 0), "front right": (300, 0),
    "back left": (0, 300), "back right": (300, 300),
}  # fmt: skip


def found(heights, in_focus_mm=1.0):
    return [
        PlaceFocus(place=place, best_mm=height, doubt_mm=0.1, in_focus_mm=in_focus_mm)
        for place, height in heights.items()
    ]


def test_a_tilted_bed_is_packed_level_with_the_focal_plane():
    # A plane through space (analytic geometry): 2 mm over 300 mm in x, 1 mm in y
    heights = {place: 5 + 2 * x / 300 + 1 * y / 300 for place, (x, y) in AT_MM.items()}
    bed = BedFocus.of(found(heights))

    packed = {place: bed.packing_mm.get(place, 0.0) + bed.lower_mm for place in BED_PLACES}
    assert packed == pytest.approx(heights)
    assert min(bed.packing_mm.get(place, 0.0) for place in BED_PLACES) == 0.0
    text = " ".join(bed.sentences())
    assert "Back right: in focus 8.0 mm up, 1.5 mm higher than the centre" in text
    assert "Lower the laser by 5.0 mm" in text
    assert "3.0 mm at the back right" in text
    assert "Nine times in ten each height is within its “give or take”" in text
    assert "Not measured" not in text


def test_a_bed_within_the_depth_of_focus_needs_no_packing():
    heights = dict(zip(BED_PLACES, (5.0, 5.4, 4.7, 5.1, 5.0), strict=True))
    bed = BedFocus.of(found(heights, in_focus_mm=1.0))

    assert bed.packing_mm == {}
    assert bed.lower_mm == pytest.approx(np.mean((5.4, 4.7)))
    assert all(abs(height - bed.lower_mm) <= 0.5 for height in heights.values())
    assert "Nothing to pack" in " ".join(bed.sentences())


def test_one_height_suits_all_only_within_the_shallowest_focus():
    deep, shallow = found({"centre": 5.0, "back left": 6.5}, in_focus_mm=2.0)
    shallow = replace(shallow, in_focus_mm=1.0)

    bed = BedFocus.of([deep, shallow])

    assert bed.packing_mm == {"back left": 1.5}


def test_places_that_are_missing_are_named_and_one_alone_says_nothing():
    bed = BedFocus.of(found({"front left": 4.0, "back right": 6.0}))
    text = " ".join(bed.sentences())
    assert "Not measured yet: centre, front right, back left" in text
    assert "than the centre" not in text
    assert BedFocus.of(found({"centre": 4.0})) is None
    assert BedFocus.of([]) is None


def test_the_newest_reading_of_each_place_counts_and_cards_without_a_place_do_not():
    def summary(place, best_mm):
        return {
            "bed_place": place, "best_focus_mm": best_mm, "best_focus_doubt_mm": 0.1,
            "in_focus_mm": 1.5,
        }  # fmt: skip

    newest_first = [summary("centre", 5.0), summary("", 9.0), {"tvi_percent": 3.0},
                    summary("centre", 4.0), summary("back left", 6.0)]  # fmt: skip
    places = {one.place: one.best_mm for one in places_of(newest_first)}
    assert places == {"centre": 5.0, "back left": 6.0}
