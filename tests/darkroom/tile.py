"""Invented tiles: what a card leaves on a surface, by a simple model of our own.

Nothing here is measured on a real tile. The chooser knows none of these numbers. Burning is by
exposure, watts^exponent per (speed × line spacing); above a threshold it darkens, by
a law that differs from surface to surface and from the one the chooser fits;
far above, the glaze breaks up and shows light, uneven spots.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from etchphoto.light import lightness
from etchproof.card import Card
from etchproof.layout.drawing import draw_card

PX_PER_DOT = 4
STEPS = 1 << 15
COARSER = 8  # pixels to one, where soot is spread over some sixty


def rises_like_hill(over):
    """Half at 1, slowly towards all of it."""
    return over**2.5 / (1 + over**2.5)


def rises_straight(over):
    """In proportion, then suddenly no further."""
    return np.minimum(over / 2, 1.0)


def rises_like_a_probability(over):
    """The share of grains whose own threshold, log-normal about 1, was passed."""
    return np.interp(np.log(np.maximum(over, 1e-6)), _LOGS, _NORMAL)


_LOGS = np.linspace(-3, 3, 601)
_NORMAL = np.cumsum(np.exp(-((_LOGS / 0.45) ** 2) / 2))
_NORMAL /= _NORMAL[-1]


@dataclass(frozen=True, kw_only=True)
class InventedSurface:
    """Exposures are shares of that of 12 W at 4000 mm/min and 0.1 mm."""

    rises: Callable[[np.ndarray], np.ndarray]
    exponent: float
    threshold: float
    scale: float
    damage: float
    black: float
    spot_mm: float = 0.08

    def exposure(self, power_w, feed_mm_per_min, spacing_mm):
        good = 12.0**self.exponent / (4000.0 * 0.1)
        return power_w**self.exponent / (feed_mm_per_min * spacing_mm) / good

    def reflectance(self, exposure):
        over = np.maximum(exposure - self.threshold, 0) / self.scale
        return 1 - (1 - self.black) * self.rises(over)

    def solid(self, power_w, feed_mm_per_min, spacing_mm=0.1):
        """The reflectance of a solid patch, with the speed really run."""
        return float(self.reflectance(self.exposure(power_w, feed_mm_per_min, spacing_mm)))

    def lightness(self, power_w, feed_mm_per_min):
        return float(lightness(np.array(self.solid(power_w, feed_mm_per_min))))


SURFACES = {
    "willing": InventedSurface(
        rises=rises_straight, exponent=1.9, threshold=0.4, scale=0.25, black=0.06, damage=6.0
    ),
    "stubborn": InventedSurface(
        rises=rises_like_hill, exponent=2.2, threshold=0.8, scale=0.4, black=0.05, damage=20.0
    ),
    "tender": InventedSurface(
        rises=rises_like_a_probability,
        exponent=1.5, threshold=0.1, scale=0.35, black=0.09, damage=1.9,
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Tile:
    """Reflectance beside bare tile, 1 where bare; shape (rows, columns) at `px_per_mm`."""

    reflectance: np.ndarray
    px_per_mm: float
    card: Card
    blue: np.ndarray | None = None  # share of the blue that is left, None for neutral tiles

    def truth(self, area):
        """The mean over the middle of an area of dots."""
        part = self.reflectance[
            area.top * PX_PER_DOT : area.bottom * PX_PER_DOT,
            area.left * PX_PER_DOT : area.right * PX_PER_DOT,
        ]
        rows, columns = part.shape
        return float(
            part[rows // 4 : rows - rows // 4, columns // 4 : columns - columns // 4].mean()
        )


def etch(card: Card, surface: InventedSurface) -> Tile:
    """Burn a card into a surface and wipe it."""
    dots = draw_card(card).astype(np.float32)
    exposure = dots * _exposure(card, surface, card.recipe)
    for patch in card.patches:
        place = patch.area.rows, patch.area.columns
        exposure[place] = dots[place] * _exposure(card, surface, patch)
    return burn(exposure, card, surface)


def not_wiped(tile: Tile, *, haze: float, reach_mm: float = 1.5, brown: float = 0.0) -> Tile:
    """Return the tile before wiping: burnt paint still lies on black, and soot around it.

    `brown` is the share of blue that the burnt paint swallows.

    Common practice, no source; how much and how far is invented.
    """
    burnt = 1 - np.clip(tile.reflectance, 0, 1)
    soot = _spread_wide(burnt, reach_mm * tile.px_per_mm)
    seen = np.maximum(tile.reflectance, 0.3 * burnt) * (1 - haze * soot)
    blue = (1 - brown * burnt).astype(np.float32) if brown else None
    return replace(tile, reflectance=seen.astype(np.float32), blue=blue)


def _spread_wide(amount: np.ndarray, sigma_px: float) -> np.ndarray:
    """Return `amount` blurred over many pixels, which takes a fraction of the time on fewer."""
    fewer = cv2.resize(amount, None, fx=1 / COARSER, fy=1 / COARSER, interpolation=cv2.INTER_AREA)
    spread = cv2.GaussianBlur(fewer, (0, 0), sigma_px / COARSER)
    return cv2.resize(spread, amount.shape[::-1], interpolation=cv2.INTER_LINEAR)


def burn(exposure: np.ndarray, card: Card, surface: InventedSurface) -> Tile:
    """Turn an exposure per dot into a wiped tile: the spot spreads, the surface answers."""
    fine = cv2.resize(exposure, None, fx=PX_PER_DOT, fy=PX_PER_DOT, interpolation=cv2.INTER_NEAREST)
    px_per_mm = PX_PER_DOT / card.spacing_mm
    fine = cv2.GaussianBlur(fine, (0, 0), surface.spot_mm / 2.5 * px_per_mm)
    reflectance = _shown(surface, fine)
    broken = fine > surface.damage
    if broken.any():
        blotches = np.random.default_rng(7).random(
            (fine.shape[0] // 28 + 1, fine.shape[1] // 28 + 1)
        )
        blotches = cv2.resize(blotches, fine.shape[::-1], interpolation=cv2.INTER_LINEAR)
        reflectance[broken] += (0.5 * blotches[broken]).astype(np.float32)
    return Tile(reflectance, px_per_mm, card)


def _shown(surface: InventedSurface, exposure: np.ndarray) -> np.ndarray:
    """Return the reflectance by a table, each of whose steps is less than a code of a photo."""
    most = max(float(exposure.max()), 1e-6)
    table = surface.reflectance(np.linspace(0, most, STEPS + 1)).astype(np.float32)
    return table.take((exposure * (STEPS / most) + 0.5).astype(np.int32), mode="clip")


def _exposure(card, surface, setting):
    """The exposure of a setting; dynamic power keeps the energy per millimetre when slower."""
    true = getattr(setting, "true_feed_mm_per_min", setting.feed_mm_per_min)
    share = true / setting.feed_mm_per_min
    power_w = card.head.rated_optical_w * setting.power_ratio * share
    return surface.exposure(power_w, true, card.spacing_mm)


def etch_hairlines(card: Card, surface: InventedSurface, *, lag_s: float, slack_mm: float) -> Tile:
    """Burn a register card on an axis with this lag and slack, each row where it lands."""
    plain = etch(replace(card, hairlines=()), surface)
    reflectance = plain.reflectance.copy()
    strong = surface.solid(
        card.head.rated_optical_w * card.recipe.power_ratio, card.recipe.feed_mm_per_min
    )
    for pair in card.hairlines:
        lead_mm = pair.true_feed_mm_per_min / 60 * lag_s + slack_mm / 2
        for area, begin_mm in (
            (pair.upper, pair.left_mm + lead_mm),
            (pair.lower, pair.left_mm + pair.offset_mm - lead_mm),
        ):
            line = _covered(
                begin_mm, begin_mm + pair.width_mm, reflectance.shape[1], plain.px_per_mm
            )
            rows = slice(area.top * PX_PER_DOT, area.bottom * PX_PER_DOT)
            reflectance[rows] *= 1 - line * (1 - strong)
    return Tile(reflectance, plain.px_per_mm, card)


def _covered(begin_mm, end_mm, width, px_per_mm):
    """The share of each pixel column that a line covers."""
    edges = np.arange(width + 1) / px_per_mm
    inside = np.clip(edges, begin_mm, end_mm)
    return (np.diff(inside) * px_per_mm).astype(np.float32)
