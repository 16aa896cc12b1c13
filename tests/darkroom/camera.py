"""An invented phone camera: it tilts, its lens bends, light falls off, it blurs, it hisses.

Everything is done in linear light up to the picture codes, so the truth stays known. It is done in
single precision, which halves the time and moves the mean code by a ten-thousandth: numbers that
meet the pixels are Python's own, because one of numpy's would make doubles of them all. And it is
done in place where it can be: fresh memory for all pixels takes as long as what is reckoned there.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from io import BytesIO

import cv2
import numpy as np
from PIL import Image

from darkroom.tile import Tile

BARE_ROUND_MM = 12.0
TABLE = 0.25
TINT = (1.0, 0.985, 0.95)
BLUE = 2


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How a photo is taken; the defaults are a careful person's, with fewer pixels than a phone's.

    What is read well from few is read as well from more, which take longer. A card of 60 × 90 mm
    still has nine or ten of them for a millimetre; LARGE is for what needs twelve.
    """

    width_px: int = 1600
    height_px: int = 1200
    tilt_degrees: float = 0.0
    towards_degrees: float = 30.0  # the way it tilts
    turn_degrees: float = 0.0  # how the card lies
    aside: float = 0.0  # how far the card's middle lies right of the picture's, in its widths
    fill: float = 0.72  # of the picture's lesser side, by the card's greater one
    light_ratio: float = 1.0
    light_from_degrees: float = 60.0
    blur_px: float = 1.5
    noise_codes: float = 2.0
    exposure_ev: float = 0.0
    distortion: float = 0.0
    glare: tuple[tuple[float, float, float, float], ...] = ()  # x, y, sigma in mm, light added
    shadows: tuple[tuple[float, float, float], ...] = ()  # from x in mm on: depth, softness in mm
    quality: int = 80
    tint: tuple[float, float, float] = TINT  # of the lamp
    seed: int = 1


LARGE = Shot(width_px=2000, height_px=1500)


def photograph(tile: Tile, shot: Shot = Shot()) -> BytesIO:
    """Return the JPEG file of a photo of a tile."""
    codes = _codes(tile, shot)
    hiss = _hiss(shot.seed, (len(shot.tint), *codes.shape))
    picture = np.empty((*codes.shape, len(shot.tint)), dtype=np.uint8)
    blue = codes
    if tile.blue is not None:
        yellow = replace(tile, reflectance=tile.reflectance * tile.blue, blue=None)
        blue = _codes(yellow, shot)
    for channel, tint in enumerate(shot.tint):
        lit = blue if channel == BLUE else codes
        picture[..., channel] = cv2.addWeighted(  # rounded, and cut off at either end
            lit, tint ** (1 / 2.2), hiss[channel], shot.noise_codes, 0, dtype=cv2.CV_8U
        )
    file = BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=shot.quality)
    file.seek(0)
    return file


@lru_cache(maxsize=3)
def _hiss(seed: int, shape: tuple[int, ...]) -> np.ndarray:
    """Return a normal scatter: kept, as most photos have the same, and it took a third of each."""
    hiss = np.random.default_rng(seed).standard_normal(shape, dtype=np.float32)
    hiss.flags.writeable = False
    return hiss


def mm_to_photo(tile: Tile, shot: Shot) -> np.ndarray:
    """Return the homography from card mm to pixels of the photo, before the lens bends it."""
    height_mm, width_mm = (side / tile.px_per_mm for side in tile.reflectance.shape)
    focal = 0.85 * max(shot.width_px, shot.height_px)
    distance = focal * max(width_mm, height_mm) / (shot.fill * min(shot.width_px, shot.height_px))
    tilt, towards, turn = np.radians((shot.tilt_degrees, shot.towards_degrees, shot.turn_degrees))
    axis = np.array([np.cos(towards), np.sin(towards), 0.0]) * tilt
    rotation = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0]
    plane = rotation[:, :2]
    centre = np.array([[1, 0, -width_mm / 2], [0, 1, -height_mm / 2], [0, 0, 1]])
    pose = np.column_stack([plane, [0, 0, distance]])
    lens = np.array(
        [
            [focal, 0, (shot.width_px - 1) / 2 + shot.aside * shot.width_px],
            [0, focal, (shot.height_px - 1) / 2],
            [0, 0, 1],
        ]
    )
    return lens @ pose @ centre


def _exposed(tile: Tile, shot: Shot) -> np.ndarray:
    x_mm, y_mm = _places(tile, shot)
    height_mm, width_mm = (side / tile.px_per_mm for side in tile.reflectance.shape)
    column, row = x_mm * tile.px_per_mm, y_mm * tile.px_per_mm
    column -= 0.5
    row -= 0.5
    light = cv2.remap(
        tile.reflectance, column, row, cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=1.0,
    )  # fmt: skip
    beyond = np.maximum(_beyond(x_mm, width_mm, column), _beyond(y_mm, height_mm, row), out=column)
    light[beyond > BARE_ROUND_MM] = TABLE
    light *= _falloff(x_mm, y_mm, (width_mm, height_mm), shot)
    for x, depth, soft_mm in shot.shadows:
        light *= 1 - depth * (1 + np.tanh((x_mm - x) / (2 * soft_mm))) / 2
    for x, y, sigma, added in shot.glare:
        light += added * np.exp(-((x_mm - x) ** 2 + (y_mm - y) ** 2) / (2 * sigma**2))
    light = cv2.GaussianBlur(light, (0, 0), shot.blur_px) if shot.blur_px else light
    light *= 0.6 * 2.0**shot.exposure_ev
    return light


def _places(tile: Tile, shot: Shot):
    """Return where on the card, in mm, each pixel of the photo looks."""
    y = np.arange(shot.height_px, dtype=np.float32)[:, np.newaxis]
    x = np.arange(shot.width_px, dtype=np.float32)
    cx, cy = (shot.width_px - 1) / 2, (shot.height_px - 1) / 2
    if shot.distortion:
        reach = math.hypot(cx, cy)
        share = 1 + shot.distortion * (((x - cx) / reach) ** 2 + ((y - cy) / reach) ** 2)
        x, y = cx + (x - cx) * share, cy + (y - cy) * share
    back = np.linalg.inv(mm_to_photo(tile, shot)).astype(np.float32)
    # Sums of a column and a row, so that the picture's pixels are gone through once for each.
    scale = back[2, 0] * x + (back[2, 1] * y + back[2, 2])
    x_mm = back[0, 0] * x + (back[0, 1] * y + back[0, 2])
    y_mm = back[1, 0] * x + (back[1, 1] * y + back[1, 2])
    x_mm /= scale
    y_mm /= scale
    return x_mm, y_mm


def _beyond(at_mm, size_mm, out):
    """Return in `out` how far beyond a card of this size, below nothing on it."""
    np.subtract(at_mm, size_mm / 2, out=out)
    np.abs(out, out=out)
    return np.subtract(out, size_mm / 2, out=out)


def _falloff(x_mm, y_mm, size_mm, shot):
    """Light from one side, falling by `light_ratio` across the card's diagonal."""
    if shot.light_ratio == 1.0:
        return 1.0
    direction = math.radians(shot.light_from_degrees)
    reach = math.hypot(*size_mm)
    right, down = math.cos(direction) / reach, math.sin(direction) / reach
    along = x_mm * right
    along += y_mm * down
    along -= size_mm[0] / 2 * right + size_mm[1] / 2 * down
    np.clip(along, -1, 1, out=along)
    along -= 0.5
    along *= math.log(shot.light_ratio)
    return np.exp(along, out=along)


def _codes(tile, shot):
    """Return the codes of a screen, by a table: its steps are a hundredth of a code or less."""
    light = _exposed(tile, shot)
    light *= STEPS
    light += 0.5
    return _CODES.take(light.astype(np.int32), mode="clip")


def _of_srgb(light):
    """IEC 61966-2-1, from memory; written here anew, so that the reader is held to the standard."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


STEPS = 1 << 18
_CODES = (255 * _of_srgb(np.linspace(0, 1, STEPS + 1))).astype(np.float32)
