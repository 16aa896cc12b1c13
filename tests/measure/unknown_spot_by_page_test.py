"""From a laser whose spot nobody knows to a portrait, making on the page what the page names next.

`pytest -m measure tests/measure/unknown_spot_by_page_test.py -s`. Machine, tile and laser are
invented. Printed are the cards, the recipe, and how true the portrait is.
"""

import time

import pytest

from etchphoto.job.order import FROM_TEST_CARD
from measure.portrait_truth import MM_PER_PX, SIDE_MM, off_what_it_can_hold, portrait
from support.harnesses.page_by_http import field
from support.harnesses.settings_by_page import Finder

pytestmark = pytest.mark.measure

SURFACE = "white-tile"
MOST_CARDS = 8
WEDGE = {"left_mm": 0, "right_mm": 18, "length_mm": 150}


def test_what_the_page_names_next_leads_from_an_unknown_spot_to_a_portrait(tmp_path):
    began_s, kinds = time.monotonic(), []
    with Finder(tmp_path, surface=SURFACE, speedup=40) as finder:
        finder.forget_everything()
        while (kind := finder.next_card()) and len(kinds) < MOST_CARDS:
            kinds.append(kind)
            read(finder, kind)
        recipe, head = finder.recipe(), finder.head()
        run = finder.etch_photo(
            portrait(), width_mm=SIDE_MM, height_mm=SIDE_MM, halftone=FROM_TEST_CARD
        )
        place = run["sheet"]["picture"]
        sides = ("left_mm", "bottom_mm", "right_mm", "top_mm")
        finder.tile_picture([place[side] for side in sides], tmp_path / "portrait.png", MM_PER_PX)
    off = off_what_it_can_hold(tmp_path / "portrait.png", SURFACE, recipe["line_spacing_mm"])
    print(f"\n{SURFACE}: {', '.join(kinds)}; {time.monotonic() - began_s:.0f} s of the wall's")
    print(f"spot {head['spot_x_mm']:g} × {head['spot_y_mm']:g} mm; ", end="")
    print(f"{recipe['feed_mm_per_min']:.0f} mm/min, {recipe['power_ratio'] * 100:.0f} %, ", end="")
    print(f"lines {recipe['line_spacing_mm']:g} mm")
    print(f"tile against what it can hold: {off:.2f} L* RMS at 350 mm")
    assert kinds[0] == "focus"
    assert set(kinds) == {"focus", "power", "spacing", "tone", "register"}


def read(finder, kind):
    """Make, etch, photograph and read a card, and take over what it shows."""
    more = WEDGE if kind == "focus" else {}
    finder.make(finds=kind, place_width_mm=120, place_height_mm=120, **more)
    finder.etch(is_on_wedge=kind == "focus")
    page = finder.read(finder.photo())
    if kind == "power":
        finder.choose(feed=field(page, "feed"), percent=field(page, "percent"))
    elif 'name="choose" value="yes"' in page:
        finder.choose()
    else:
        finder.save_only()
