"""Where a portrait's error comes from: coat, grain of the dots, or the dot that the card told.

`pytest -m measure tests/measure/portrait_split_test.py -s`. In memory, by recipes that the page led
to; the spot is wider than stated. The same tile is looked at as if its coat were even, and dots are
searched for once more by a card that lies on an even coat and is read without a camera.
"""

import copy
from dataclasses import replace
from io import BytesIO

import cv2
import numpy as np
import pytest
from PIL import Image

from darkroom.camera import Shot, photograph
from darkroom.practice import MM_PER_PX, burnt_by_practice
from darkroom.tile import Tile
from etchpath.writer.dots import Order, write_job
from etchphoto.dots.eye import seen
from etchphoto.dots.rendering import darkness
from etchphoto.dots.search import search_dots
from etchphoto.dots.speeds import Motion
from etchphoto.dots.switch_price import switch_price
from etchphoto.light import lightness, linear_to_srgb, luminance
from etchpractice.tile.imperfections import read_imperfections
from etchpractice.tile.surface import surface_named
from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.job import prepare_card
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.tone_reading import read_dot
from etchproof.reading.camera import read_card
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Recipe
from etchwire.sheet import GCODE_NAME
from measure.portrait_truth import DEFOCUS, SIDE_MM, off_what_it_can_hold, portrait

pytestmark = pytest.mark.measure

HEAD = PRACTICE_HEADS["practice-20w"]
WRONG = read_imperfections((DEFOCUS,))
SPACING_MM = 0.1
SHOT = Shot(width_px=2400, height_px=1800, tilt_degrees=18, light_ratio=1.6)
EDGE_DOTS = 12


@pytest.mark.parametrize(
    ("surface", "feed_mm_per_min", "power_ratio"),
    [("white-tile", 2182, 0.42), ("white-tile", 4000, 0.60),
     ("thick-coat", 2182, 0.60), ("thick-coat", 4000, 0.80)],
)  # fmt: skip
def test_what_a_portrait_misses(surface, feed_mm_per_min, power_ratio, tmp_path):
    recipe = Recipe(
        surface=surface, feed_mm_per_min=feed_mm_per_min, power_ratio=power_ratio,
        line_spacing_mm=SPACING_MM,
    )  # fmt: skip
    wishes = CardRequest(
        number=1, head=HEAD, surface=surface, place=Place(120.0, 120.0),
        line_spacing_mm=SPACING_MM, halftone="jarvis",
    )  # fmt: skip
    card = lay_out_tone_card(wishes, recipe)
    place = prepare_card(card, folder=tmp_path / "card").picture
    run = burnt((tmp_path / "card" / GCODE_NAME).read_bytes(), surface)
    sharp = Shot(width_px=4800, height_px=3600, noise_codes=0.0, blur_px=0.0, quality=98)
    for how, shot, is_even in (("photo", SHOT, False), ("even coat, sharp photo", sharp, True)):
        tile = Tile(look(run, place, is_even=is_even), 1 / MM_PER_PX, card)
        dot = read_dot(card, read_card([photograph(tile, shot)], [card], is_wiped=True)[0])
        told(f"{surface}, {feed_mm_per_min} mm/min, {power_ratio:.0%}; {how}", dot, recipe)


def told(what, dot, recipe):
    grey = luminance(np.asarray(Image.open(BytesIO(portrait()))))
    side = round(SIDE_MM / SPACING_MM)
    wanted = 1 - cv2.resize(grey, (side, side), interpolation=cv2.INTER_AREA).astype(np.float32)
    motion = Motion(HEAD, recipe)
    bits = search_dots(
        wanted, dot, spacing_mm=SPACING_MM, motion=motion, switch_price=switch_price(HEAD, recipe)
    )
    gcode = BytesIO()
    place = write_job(
        bits, gcode, Order(title="x", head=HEAD, recipe=recipe, halftone="any")
    ).picture
    run = burnt(gcode.getvalue(), recipe.surface)
    looks = [look(run, place, is_even=is_even) for is_even in (False, True)]
    whole, even = (off_what_it_can_hold(png(one, recipe), recipe.surface, SPACING_MM)
                   for one in looks)  # fmt: skip
    on_tile, on_even = (per_dot(one, bits.shape[:2]) for one in looks)
    shown = darkness(bits, replace(dot, unevenness=0.0), motion.light(bits, dot))
    promise, ideal = (1 - (1 - dot.black) * one for one in (shown, wanted))
    print(f"\n{what}: tile {whole:.2f}, on an even coat {even:.2f} L* RMS")
    print(f"coat {apart(on_tile, on_even):.2f}, grain as foreseen {apart(promise, ideal):.2f}")
    print(f"promise against the tile on an even coat {apart(promise, on_even):.2f}")
    print(f"unevenness read {dot.unevenness:.3f}, law misses {dot.fit_error:.4f}")


def burnt(gcode, surface):
    return burnt_by_practice(gcode, HEAD, surface, imperfections=WRONG)


def look(run, place, *, is_even):
    """Return the wiped tile's reflectance beside bare tile."""
    tile = copy.copy(run.tile)
    if is_even:
        tile.surface = replace(tile.surface, unevenness=0.0)
    rectangle = (place.left_mm, place.bottom_mm, place.right_mm, place.top_mm)
    return (
        tile.reflectance(mm_per_px=MM_PER_PX, rectangle=rectangle) / tile.surface.tile_reflectance
    )


def png(reflectance, recipe):
    light = reflectance * surface_named(recipe.surface).tile_reflectance
    file = BytesIO()
    Image.fromarray(np.rint(linear_to_srgb(light) * 255).astype(np.uint8)).save(file, "PNG")
    return file


def per_dot(reflectance, shape):
    return cv2.resize(reflectance, shape[::-1], interpolation=cv2.INTER_AREA)


def apart(one, other):
    """Return by how much two pictures differ in L* at 350 mm, RMS."""
    off = lightness(seen(one, SPACING_MM)) - lightness(seen(other, SPACING_MM))
    return float(np.sqrt(np.mean(off[EDGE_DOTS:-EDGE_DOTS, EDGE_DOTS:-EDGE_DOTS] ** 2)))
