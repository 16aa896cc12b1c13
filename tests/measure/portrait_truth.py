"""How true a portrait on a practice tile is: the tile against what it can hold, by the eye."""

import io

import cv2
import numpy as np
import skimage
from PIL import Image

from etchphoto.dots.eye import seen
from etchphoto.light import lightness, luminance, srgb_to_linear
from etchpractice.tile.surface import surface_named

MM_PER_PX = 0.025
SIDE_MM = 25.0
DEFOCUS = "defocus_mm=0.5"  # a spot that nobody was told of: 0.088 mm where 0.08 is stated
_EDGE_DOTS = 12


def portrait() -> bytes:
    """Return the face of scikit-image's astronaut (NASA, public domain) as a PNG."""
    file = io.BytesIO()
    Image.fromarray(_grey()).save(file, "PNG")
    return file.getvalue()


def off_what_it_can_hold(picture, surface: str, spacing_mm: float) -> float:
    """Return the difference in L* at 350 mm, RMS, of a tile's picture from the portrait's light.

    `picture` is a PNG of the wiped tile of that surface at MM_PER_PX. What it can hold is the
    photo's light in proportion between bare tile and fired black (Murray-Davies).
    """
    truth = surface_named(surface)
    light = srgb_to_linear(np.asarray(Image.open(picture).convert("L")) / 255)
    dots = tuple(round(side * MM_PER_PX / spacing_mm) for side in light.shape)
    tile = cv2.resize(light, dots[::-1], interpolation=cv2.INTER_AREA)
    photo = cv2.resize(luminance(_grey()), dots[::-1], interpolation=cv2.INTER_AREA)
    white, black = truth.tile_reflectance, truth.fired_reflectance
    looks = [
        lightness(np.maximum(seen(one / white, spacing_mm), 0))
        for one in (tile, black + photo * (white - black))
    ]
    inside = slice(_EDGE_DOTS, -_EDGE_DOTS)
    return float(np.sqrt(np.mean((looks[0] - looks[1])[inside, inside] ** 2)))


def _grey():
    return np.asarray(Image.fromarray(skimage.data.astronaut()[:260, 100:360]).convert("L"))
