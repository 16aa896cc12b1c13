"""An invented phone camera: it tilts, its lens bends, light falls off, it blurs, it hisses.

Everything is done in linear light up to the picture codes, so the truth stays known. It is done in
single precision, which halves the time and moves the mean code by a ten-thousandth: numbers that
meet the pixels are Python's own, because one of numpy's would make doubles of them all.
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
    """How a photo is taken; the defaults are a careful person's."""

    width_px: int = 2000
    height_px: int = 1500
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


def photograph(tile: Tile, shot: Shot = Shot()) -> BytesIO:
    """Return the JPEG file of a photo of a tile."""
    codes = 255 * _to_srgb(_exposed(tile, shot))
    hiss = _hiss(shot.seed, (len(shot.tint), *codes.shape))
    picture = np.empty((*codes.shape, len(shot.tint)), dtype=np.uint8)
    blue = codes
    if tile.blue is not None:
        yellow = replace(tile, reflectance=tile.reflectance * tile.blue, blue=None)
        blue = 255 * _to_srgb(_exposed(yellow, shot))
    for channel, tint in enumerate(shot.tint):
        lit = blue if channel == BLUE else codes
        picture[..., channel] = cv2.addWeighted(  # rounded, and cut off at either end
            lit, tint ** (1 / 2.2), hiss[channel], shot.noise_codes, 0, dtype=cv2.CV_8U
        )
    file = BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=shot.quality)
    file.seek(0)
    return file


@lru_cache(maxsize=2)
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
    to_px = lambda mm: (mm * tile.px_per_mm - 0.5).astype(np.float32)  # noqa: E731
    seen = cv2.remap(
        tile.reflectance, to_px(x_mm), to_px(y_mm), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=1.0,
    )  # fmt: skip
    height_mm, width_mm = (side / tile.px_per_mm for side in tile.reflectance.shape)
    beyond = np.maximum(
        np.abs(x_mm - width_mm / 2) - width_mm / 2, np.abs(y_mm - height_mm / 2) - height_mm / 2
    )
    seen[beyond > BARE_ROUND_MM] = TABLE
    light = seen * _falloff(x_mm, y_mm, (width_mm, height_mm), shot)
    for x, depth, soft_mm in shot.shadows:
        light *= 1 - depth * (1 + np.tanh((x_mm - x) / (2 * soft_mm))) / 2
    for x, y, sigma, added in shot.glare:
        light += added * np.exp(-((x_mm - x) ** 2 + (y_mm - y) ** 2) / (2 * sigma**2))
    light = cv2.GaussianBlur(light, (0, 0), shot.blur_px) if shot.blur_px else light
    return light * 0.6 * 2.0**shot.exposure_ev


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
    scale = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    return (
        (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / scale,
        (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / scale,
    )


def _falloff(x_mm, y_mm, size_mm, shot):
    """Light from one side, falling by `light_ratio` across the card's diagonal."""
    if shot.light_ratio == 1.0:
        return 1.0
    direction = math.radians(shot.light_from_degrees)
    reach = math.hypot(*size_mm)
    along = (
        (x_mm - size_mm[0] / 2) * math.cos(direction)
        + (y_mm - size_mm[1] / 2) * math.sin(direction)
    ) / reach
    return np.exp((np.clip(along, -1, 1) - 0.5) * math.log(shot.light_ratio))


def _to_srgb(light):
    """Return the values of a screen, by a table: its steps are a hundredth of a code or less."""
    return _SRGB.take((light * STEPS + 0.5).astype(np.int32), mode="clip")


def _of_srgb(light):
    """IEC 61966-2-1, from memory; written here anew, so that the reader is held to the standard."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


STEPS = 1 << 18
_SRGB = _of_srgb(np.linspace(0, 1, STEPS + 1)).astype(np.float32)
