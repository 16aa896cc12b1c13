"""Two tiles side by side in one photo, of a known whiteness each, under light that nobody chose."""

from dataclasses import replace

import numpy as np

from darkroom.camera import LARGE, photograph
from darkroom.tile import Tile
from etchphoto.light import luminance_of_lightness

PX_PER_MM = 3
SIDE_MM, JOINT_MM = 100, 2


def two_tiles(left: float, right: float) -> Tile:
    """Return two bare tiles of these L*, edge to edge."""
    high, wide, joint = (mm * PX_PER_MM for mm in (SIDE_MM, SIDE_MM, JOINT_MM))
    seen = np.full((high, 2 * wide + joint), 0.3, np.float32)
    seen[:, :wide] = luminance_of_lightness(np.asarray(left))
    seen[:, wide + joint :] = luminance_of_lightness(np.asarray(right))
    return Tile(seen, PX_PER_MM, None)


def photographs(count: int):
    """Yield so many photos, each with how much lighter its right tile is.

    The light falls off to one side, a soft shadow and a wide gloss lie over it, the camera tilts.
    """
    chance = np.random.default_rng(7)
    for number in range(count):
        left, difference = chance.uniform(90, 97), chance.uniform(-4, 4)
        shot = replace(
            LARGE,
            fill=1.28,
            tilt_degrees=chance.uniform(0, 6),
            turn_degrees=chance.uniform(-2, 2),
            aside=chance.uniform(-0.015, 0.015),
            light_ratio=chance.uniform(1, 2.5),
            light_from_degrees=chance.uniform(0, 360),
            exposure_ev=chance.uniform(-0.7, 0.2),
            shadows=((chance.uniform(0, 200), chance.uniform(0, 0.25), chance.uniform(40, 90)),),
            glare=(
                (*chance.uniform(0, (200, 100)), chance.uniform(60, 120), chance.uniform(0, 0.06)),
            ),
            seed=number,
        )
        yield photograph(two_tiles(left, left + difference), shot), difference
