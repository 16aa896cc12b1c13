"""What goes wrong on a bench, for a practice tile that teaches: each off until it is asked for.

That these things happen is common practice, no source. How much each does, by which law and at
which figures is our invention: nothing of it was measured on a real tile, and no published figure
says at which dose black rubs off a glaze, how fast a diode module fades, or what wiping leaves.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpractice.tile.surface import Surface, ramp

Floats = NDArray[np.float32]
Field = Callable[[float], Floats]  # standard normal noise over so many mm, in the shape wanted

# z_R = pi w0² / (M² lambda), with w0 = 0.04 mm and 450 nm: 11.17 mm for M² = 1. That M² is 10 for
# a module of several emitters is an assumption.
RAYLEIGH_MM: Final = 1.117
TILE_MM: Final = 150.0  # a side of the tile that bows, from the bed's corner
_HAZE_REFLECTANCE: Final = 0.4
_HAZE_MM: Final = 6.0
_FILM_STAYS: Final = 0.5  # of the film, and of the paint, from one wipe to the next
_PAINT_STAYS: Final = 0.1
_LEFT_MM: Final = 2.5
_ROUGH_MM: Final = 0.3


class UnfitImperfection(ValueError):
    """No such imperfection, or no figure of it; the message says which there are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Imperfections:
    """How far tile, wiping and laser are from ideal; 0 leaves each out.

    rubs_off_below_j_per_mm2  less exposure than this blackens, but wiping takes part of it off
                              (common: too little dose rubs off; the law is ours)
    haze                      share by which a film of soot greys the worst places after wiping
    paint_left                share of the area where wiping left the paint
    defocus_mm                how far off focus the tile lies
    bow_mm                    how much higher the tile's middle stands than its corners
    tilt_mm_per_mm            how much higher it lies for each mm along x, as on a wedge
    fade_per_h                share of its power that the diode loses in an hour of beam (real ones:
                              thousands of hours; practice is short)
    roughness                 scatter of reflectance where the glaze is broken
    wiped_again               how many times more it is wiped: each takes half of the film and most
                              of the paint that the time before left
    """

    rubs_off_below_j_per_mm2: float = 0.0
    haze: float = 0.0
    paint_left: float = 0.0
    defocus_mm: float = 0.0
    bow_mm: float = 0.0
    tilt_mm_per_mm: float = 0.0
    fade_per_h: float = 0.0
    roughness: float = 0.0
    wiped_again: float = 0.0

    def __post_init__(self) -> None:
        """Refuse shares beyond one and dose below nothing."""
        for name in ("haze", "paint_left", "roughness"):
            if not 0 <= getattr(self, name) <= 1:
                raise UnfitImperfection(f"{name} is a share, 0 to 1")
        for name in ("rubs_off_below_j_per_mm2", "fade_per_h", "wiped_again"):
            if not 0 <= getattr(self, name) <= _MOST:
                raise UnfitImperfection(f"{name} is 0 or more, up to {_MOST:g}")
        for name in ("defocus_mm", "bow_mm", "tilt_mm_per_mm"):
            if not -_MOST <= getattr(self, name) <= _MOST:
                raise UnfitImperfection(f"{name} lies between -{_MOST:g} and {_MOST:g}")

    @property
    def is_in_focus(self) -> bool:
        """Whether the whole tile lies in the focus."""
        return not (self.defocus_mm or self.bow_mm or self.tilt_mm_per_mm)

    def off_focus_mm(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Return how far off focus each place is, x along columns and y along rows."""
        half = TILE_MM / 2
        x, y = x_mm[np.newaxis, :] - half, y_mm[:, np.newaxis] - half
        bow = self.bow_mm * (1 - (x**2 + y**2) / (2 * half**2))
        height: Floats = self.defocus_mm + bow + self.tilt_mm_per_mm * x_mm[np.newaxis, :]
        return height.astype(np.float32)

    def wiped(self, surface: Surface, exposure_j_per_mm2: Floats, field: Field) -> Floats:
        """Return the reflectance of a wiped tile."""
        seen = surface.wiped(exposure_j_per_mm2)
        if self.rubs_off_below_j_per_mm2:
            low, high = surface.threshold_j_per_mm2, self.rubs_off_below_j_per_mm2
            stays = ramp(exposure_j_per_mm2, low, max(high, low * 1.01))
            seen = surface.tile_reflectance + (seen - surface.tile_reflectance) * stays
        if self.roughness:
            broken = surface.broken(exposure_j_per_mm2)
            seen = np.clip(seen + self.roughness * broken * field(_ROUGH_MM), 0, 1)
        if self.paint_left:
            noise = field(_LEFT_MM)
            left = self.paint_left * _PAINT_STAYS**self.wiped_again
            is_left = noise < np.quantile(noise, left)
            seen = np.where(is_left, surface.unwiped(exposure_j_per_mm2), seen)
        if self.haze:
            film = self.haze * _FILM_STAYS**self.wiped_again * ramp(field(_HAZE_MM), -1.5, 1.5)
            seen = seen + (_HAZE_REFLECTANCE - seen) * film
        return np.asarray(seen, np.float32)


def spot_growth(off_focus_mm: float) -> float:
    """Return how many times as wide a spot is so far off focus: a Gaussian beam's, handbook."""
    return float(np.hypot(1.0, off_focus_mm / RAYLEIGH_MM))


def read_imperfections(pairs: tuple[str, ...]) -> Imperfections:
    """Read `haze=0.3` and the like; raise UnfitImperfection."""
    figures = {}
    for pair in pairs:
        name, _, figure = pair.partition("=")
        if name not in NAMES:
            raise UnfitImperfection(f"{name!r} is no imperfection; there are {', '.join(NAMES)}")
        try:
            figures[name] = float(figure)
        except ValueError as error:
            raise UnfitImperfection(f"{pair!r} has no figure: write {name}=0.3") from error
    return Imperfections(**figures)


_MOST: Final = 1000.0
NAMES: Final = tuple(entry.name for entry in fields(Imperfections))
NONE: Final = Imperfections()
