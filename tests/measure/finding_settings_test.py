"""From an unknown surface to a portrait, by the page alone: how good the settings are it leads to.

`pytest -m measure tests/measure/finding_settings_test.py -s`. The surface is of our own invention;
its spot is wider than stated. The portrait is etched with dots from the tone card.
"""

import html
import re

import pytest

from etchphoto.job.order import FROM_TEST_CARD
from etchpractice.practice_head import BEAM_LAG_S, SLACK_MM
from etchwire.catalogue.heads import Register
from measure.portrait_truth import DEFOCUS, MM_PER_PX, SIDE_MM, off_what_it_can_hold, portrait
from support.harnesses.page_by_http import field
from support.harnesses.settings_by_page import Finder

pytestmark = pytest.mark.measure


@pytest.mark.parametrize("surface", ["white-tile", "thick-coat"])
def test_two_power_cards_a_tone_card_and_a_register_card_lead_to_a_portrait(surface, tmp_path):
    with Finder(tmp_path, surface=surface, speedup=40, imperfections=(DEFOCUS,)) as finder:
        finder.forget_register()
        page = burn_and_read(finder, finds="power")
        finer = re.search(r'href="/test-tiles/new\?([^"]+)"', page)[1]
        wanted = dict(pair.split("=") for pair in html.unescape(finer).split("&"))
        finder.choose(feed=field(page, "feed"), percent=field(page, "percent"))
        ranges = ("low_feed", "high_feed", "low_percent", "high_percent", "speeds", "powers")
        page = burn_and_read(finder, finds="power", **{name: wanted[name] for name in ranges})
        finder.choose(feed=field(page, "feed"), percent=field(page, "percent"))
        burn_and_read(finder, finds="tone")
        finder.choose()
        burn_and_read(finder, finds="register")
        finder.choose()

        recipe, register = finder.recipe(), Register(**finder.head()["register"])
        run = finder.etch_photo(
            portrait(), width_mm=SIDE_MM, height_mm=SIDE_MM, halftone=FROM_TEST_CARD
        )
        place = run["sheet"]["picture"]
        sides = ("left_mm", "bottom_mm", "right_mm", "top_mm")
        finder.tile_picture([place[side] for side in sides], tmp_path / "portrait.png", MM_PER_PX)
        story = finder.story()

    truth = Register(beam_lag_s=BEAM_LAG_S, slack_mm=SLACK_MM)
    feed = recipe["feed_mm_per_min"]
    off_mm = register.lead_mm(feed) - truth.lead_mm(feed)
    off = off_what_it_can_hold(tmp_path / "portrait.png", surface, recipe["line_spacing_mm"])
    print(f"\n{surface}: recipe {feed:.0f} mm/min, {recipe['power_ratio'] * 100:.1f} %")
    print(f"rows meet within {2 * abs(off_mm):.4f} mm")
    print(f"tile against what it can hold: {off:.2f} L* RMS at 350 mm")
    print(f"portrait: {tmp_path / 'portrait.png'}")
    for what in ("Test card 4 read by camera", "greys measured", "etched (etch 5)"):
        assert what in story
    assert recipe["tone_curve"] is not None


def burn_and_read(finder, **form):
    finder.make(place_width_mm=120, place_height_mm=120, **form)
    finder.etch()
    return finder.read(finder.photo())
