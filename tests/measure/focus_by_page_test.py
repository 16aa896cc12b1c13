"""Focus, spot and line spacing of a practice laser by the page alone.

`pytest -m measure tests/measure/focus_by_page_test.py -s`. Machine, tile and laser are invented.
"""

import re

import pytest

from etchpractice.tile.surface import surface_named
from support.harnesses.settings_by_page import Finder

pytestmark = pytest.mark.measure

SURFACE = "white-tile"
TILT, BEST_MM = 0.12, 6.7
HALF_HEIGHT = 2.3548  # standard deviations of a Gaussian from half of its peak to half of it


def test_a_tile_on_a_wedge_tells_focus_and_spot(tmp_path):
    # It rises 12 mm over 100 mm; the card lies in its middle and begins at the bed's corner
    off_mm = (100 - 59.2) / 2 * TILT - BEST_MM
    lies = (f"tilt_mm_per_mm={TILT}", f"defocus_mm={off_mm}")
    with Finder(tmp_path, surface=SURFACE, speedup=40, imperfections=lies) as finder:
        finder.make(
            finds="focus", place_width_mm=100, place_height_mm=100, left_mm=0, right_mm=12,
            length_mm=100, bed_place="centre",
        )  # fmt: skip
        finder.etch()
        page = finder.read(finder.photo())
        finder.choose()
        head, story = finder.head(), finder.story()
    best_mm = float(re.search(r"in focus when it stands ([\d.]+) mm up", page)[1])
    heat_mm = surface_named(SURFACE).heat_spread_mm
    true_mm = HALF_HEIGHT * (0.08**2 / 12 + heat_mm**2) ** 0.5
    print(f"\nfocus off by {best_mm - BEST_MM:+.2f} mm; spot {head['spot_x_mm']:g} × "
          f"{head['spot_y_mm']:g} of {true_mm:.3f} mm")  # fmt: skip
    assert best_mm == pytest.approx(BEST_MM, abs=0.3)
    assert (head["spot_x_mm"], head["spot_y_mm"]) == pytest.approx((true_mm, true_mm), abs=0.02)
    assert "mm up at the centre" in story


def test_a_spacing_card_makes_the_coarsest_closed_lines_the_recipe(tmp_path):
    with Finder(tmp_path, surface=SURFACE, speedup=40) as finder:
        finder.make(finds="spacing", place_width_mm=100, place_height_mm=100)
        finder.etch()
        page = finder.read(finder.photo())
        finder.choose()
        recipe = finder.recipe()
    print("\n" + " ".join(re.findall(r"Lines [^<]*|A picture of [^<]*", page)))
    assert recipe["line_spacing_mm"] == 0.15  # as burnt, photographed and seen in test_spacing
