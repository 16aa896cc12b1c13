"""From an unknown surface to a portrait, by the page alone: how good the settings are it leads to.

`pytest -m measure tests/measure/finding_settings_test.py -s`. The surface is of our own invention;
the portrait is the astronaut of scikit-image (NASA, public domain).
"""

import html
import io
import re

import numpy as np
import pytest
import skimage
from PIL import Image
from skimage.transform import resize_local_mean

from etchphoto.light import lightness, srgb_to_linear
from etchpractice.practice_head import BEAM_LAG_S, SLACK_MM
from etchwire.catalogue.heads import Register
from support.harnesses.page_by_http import field
from support.harnesses.settings_by_page import Finder

pytestmark = pytest.mark.measure

WIDTH_MM = HEIGHT_MM = 50.0
BLOCKS = 25  # of two millimetres, over which dots look grey


def test_two_power_cards_a_tone_card_and_a_register_card_lead_to_a_portrait(tmp_path):
    with Finder(tmp_path, surface="thick-coat", speedup=40) as finder:
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
        run = finder.etch_photo(portrait(), width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
        place = run["sheet"]["picture"]
        sides = ("left_mm", "bottom_mm", "right_mm", "top_mm")
        finder.tile_picture([place[side] for side in sides], tmp_path / "portrait.png")
        story = finder.story()

    truth = Register(beam_lag_s=BEAM_LAG_S, slack_mm=SLACK_MM)
    feed = recipe["feed_mm_per_min"]
    off_mm = register.lead_mm(feed) - truth.lead_mm(feed)
    wanted, etched = light_in_blocks(portrait()), light_in_blocks(tmp_path / "portrait.png")
    contrast, black = np.polyfit(wanted.ravel(), etched.ravel(), 1)
    off = lightness(etched) - lightness(np.clip(black + contrast * wanted, 0, 1))
    rms = float(np.sqrt((off**2).mean()))
    print(f"\nrecipe: {feed:.0f} mm/min, {recipe['power_ratio'] * 100:.1f} %")
    print(f"rows meet within {2 * abs(off_mm):.4f} mm")
    print(f"black {black:.3f}, white {black + contrast:.3f}; blocks are {rms:.2f} L* RMS off that")
    print(f"portrait: {tmp_path / 'portrait.png'}")
    for what in ("Test tile 4 read by camera", "greys measured", "etched (etch 5)"):
        assert what in story
    assert recipe["tone_curve"] is not None


def burn_and_read(finder, **form):
    finder.make(place_width_mm=120, place_height_mm=120, **form)
    finder.etch()
    return finder.read(finder.photo())


def portrait():
    file = io.BytesIO()
    Image.fromarray(skimage.data.astronaut()).convert("L").save(file, "PNG")
    return file.getvalue()


def light_in_blocks(picture):
    """Return the mean light of each block of a picture, coded as sRGB.

    Light, not lightness, is what a share of black and a share of white make (Murray-Davies).
    """
    file = io.BytesIO(picture) if isinstance(picture, bytes) else picture
    with Image.open(file) as image:
        light = srgb_to_linear(np.asarray(image.convert("L"), np.float64) / 255)
    return resize_local_mean(light, (BLOCKS, BLOCKS))
