"""Focus cards burnt by an invented beam whose waist is known, on an invented surface.

The beam is a Gaussian of sigma_0 sqrt(1 + (z / z_R)²) at the height z over its waist, with
z_R = pi w0² / (M² lambda) and w0 = 2 sigma_0 (ISO 11146-1; A. E. Siegman; from memory). What the
reader fits, it knows by other means: lines are drawn here place by place, on surfaces whose laws
are not the reader's.
"""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
from scipy.special import erf

from darkroom.tile import PX_PER_DOT, InventedSurface, Tile, etch
from etchproof.card import ROW_LINES, SOLID, Card
from etchproof.layout.drawing import pitch_dots

REACH_SIGMAS = 7.0  # beyond, a line adds less than a ten-thousand-millionth of its middle


@dataclass(frozen=True, kw_only=True)
class Beam:
    """`z_mm` are the heights of the tile at which it is narrowest, one each way across."""

    sigma_across_mm: float = 0.032
    sigma_along_mm: float = 0.032
    across_at_mm: float = 6.0
    along_at_mm: float = 6.0
    m_squared: float = 6.0
    wavelength_mm: float = 450e-6

    def reach_mm(self, sigma_mm):
        """The Rayleigh length."""
        return pi * (2 * sigma_mm) ** 2 / (self.m_squared * self.wavelength_mm)

    def sigmas_mm(self, height_mm):
        """The beam's sigma across and along the rows."""
        return tuple(
            sigma * np.hypot(1, (height_mm - at) / self.reach_mm(sigma))
            for sigma, at in (
                (self.sigma_across_mm, self.across_at_mm),
                (self.sigma_along_mm, self.along_at_mm),
            )
        )


def etch_focus(card: Card, surface: InventedSurface, beam: Beam, *, wedge=None) -> Tile:
    """Burn a focus card; `wedge` is how the tile really lies, where that is not as told."""
    wedge = wedge or card.wedge
    solids = tuple(patch for patch in card.patches if patch.part == SOLID)
    plain = etch(replace(card, patches=solids), surface)
    reflectance = plain.reflectance.copy()
    for patch in card.patches:
        if patch.part == SOLID:
            continue
        area = patch.area
        rows = slice(area.top * PX_PER_DOT, area.bottom * PX_PER_DOT)
        columns = slice(area.left * PX_PER_DOT, area.right * PX_PER_DOT)
        reflectance[rows, columns] = lines_of(patch, card, surface, beam, wedge)
    return Tile(reflectance.astype(np.float32), plain.px_per_mm, card)


def lines_of(
    patch, card: Card, surface: InventedSurface, beam: Beam, wedge, *, trimmed: int | None = None
) -> np.ndarray:
    """Return what a patch of lines reflects, (rows, columns) of its pixels.

    A `trimmed`-th of the patch is left out at each of its sides. Lines across the rows look alike
    in all rows, and are given as one.
    """
    area, px_mm = patch.area, card.spacing_mm / PX_PER_DOT
    y_mm, x_mm = (
        (_without_ends(np.arange(length * PX_PER_DOT), trimmed) + 0.5) * px_mm
        for length in (area.height, area.width)
    )
    heights = wedge.height_mm(area.left * card.spacing_mm + x_mm)
    across, along = beam.sigmas_mm(heights)
    pitch, dot = pitch_dots(patch) * card.spacing_mm, card.spacing_mm
    count = round(area.height * card.spacing_mm / pitch)
    middles = (pitch_dots(patch) // 2 + 0.5) * dot + np.arange(count) * pitch
    solid = surface.exposure(
        card.head.rated_optical_w * patch.power_ratio, patch.feed_mm_per_min, dot
    )
    exposure = np.zeros((len(y_mm) if patch.part == ROW_LINES else 1, len(x_mm)))
    reach_mm = REACH_SIGMAS * across.max()
    for middle in middles:
        if patch.part == ROW_LINES:
            near = slice(*np.searchsorted(y_mm, (middle - reach_mm, middle + reach_mm)))
            off = (y_mm[near] - middle)[:, None] / across[None, :]
            exposure[near] += dot * np.exp(-(off**2) / 2) / (np.sqrt(2 * np.pi) * across)[None, :]
        else:
            ends = [(x_mm - middle + side * dot / 2) / along / 2**0.5 for side in (1, -1)]
            exposure += ((erf(ends[0]) - erf(ends[1])) / 2)[None, :]
    return surface.reflectance(exposure * solid)


def _without_ends(places: np.ndarray, share: int | None) -> np.ndarray:
    ends = len(places) // share if share else 0
    return places[ends : len(places) - ends]


def seen_without_a_tile(card: Card, surface: InventedSurface, beam: Beam) -> dict:
    """Return what the middle of each patch reflects, by cell and part: without its tile."""
    seen = {}
    for patch in card.patches:
        if patch.part == SOLID:
            power_w = card.head.rated_optical_w * patch.power_ratio
            light = surface.solid(power_w, patch.feed_mm_per_min, card.spacing_mm)
        else:
            light = lines_of(patch, card, surface, beam, card.wedge, trimmed=4).mean()
        seen[patch.cell, patch.part] = float(light)
    return seen
