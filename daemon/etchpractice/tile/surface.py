"""How a painted tile answers light: from exposure to reflectance, before and after wiping."""

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

REFERENCE_W: Final = 12.0
DEFAULT: Final = "white-tile"
_DAMAGE_SPREAD: Final = 0.4  # the glaze is wholly broken at this much more than the limit


class UnknownSurface(ValueError):
    """No surface of that name, or none that its file describes; the message says what there is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One invented surface; see surfaces.toml for what the figures mean."""

    name: str
    title: str
    exponent: float
    scorch_j_per_mm2: float
    threshold_j_per_mm2: float
    saturation_j_per_mm2: float
    damage_j_per_mm2: float
    heat_spread_mm: float
    unevenness: float
    unevenness_scale_mm: float
    paint_reflectance: float
    tile_reflectance: float
    fired_reflectance: float
    scorched_reflectance: float
    damaged_reflectance: float

    def effective_w(self, power_w: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what each power is worth, in watts at the reference power.

        Doubling the power more than doubles the speed that still darkens: the common-practice
        settings for 5, 10 and 20 W heads lie on speed ~ power^1.9 (common practice, no source).
        """
        worth: NDArray[np.float64] = power_w * (power_w / REFERENCE_W) ** (self.exponent - 1)
        return worth

    def wiped(self, exposure_j_per_mm2: Floats) -> Floats:
        """Return the reflectance once the paint is off."""
        dark = ramp(exposure_j_per_mm2, self.threshold_j_per_mm2, self.saturation_j_per_mm2)
        fired = self.tile_reflectance + (self.fired_reflectance - self.tile_reflectance) * dark
        return self._with_damage(fired, exposure_j_per_mm2)

    def unwiped(self, exposure_j_per_mm2: Floats) -> Floats:
        """Return the reflectance with the paint still on: browned wherever it was scorched."""
        brown = ramp(exposure_j_per_mm2, self.scorch_j_per_mm2, self.threshold_j_per_mm2)
        dark = ramp(exposure_j_per_mm2, self.threshold_j_per_mm2, self.saturation_j_per_mm2)
        seen = self.paint_reflectance + (self.scorched_reflectance - self.paint_reflectance) * brown
        seen += (self.fired_reflectance - self.scorched_reflectance) * dark * brown
        return self._with_damage(seen, exposure_j_per_mm2)

    def _with_damage(self, reflectance: Floats, exposure_j_per_mm2: Floats) -> Floats:
        broken = self.broken(exposure_j_per_mm2)
        seen: Floats = reflectance + (self.damaged_reflectance - reflectance) * broken
        return seen

    def broken(self, exposure_j_per_mm2: Floats) -> Floats:
        """Return how far the glaze is broken: 0 whole, 1 wholly."""
        limit = self.damage_j_per_mm2
        return ramp(exposure_j_per_mm2, limit, limit * (1 + _DAMAGE_SPREAD))


def ramp(values: Floats, low: float, high: float) -> Floats:
    """Return 0 below `low`, 1 above `high`, and a soft rise between."""
    share = np.clip((values - low) / (high - low), 0, 1)
    rise: Floats = share * share * (3 - 2 * share)
    return rise


@cache
def surfaces() -> dict[str, Surface]:
    """Return every surface that ships with the practice machine, by name."""
    table = tomllib.loads(files("etchpractice").joinpath("surfaces.toml").read_text("utf-8"))
    return {name: Surface(name=name, **figures) for name, figures in table.items()}


def surface_named(name: str) -> Surface:
    """Return the surface of that name, or the one that a `.toml` file describes.

    Raise UnknownSurface, with a sentence, where there is neither.
    """
    if name.endswith(".toml"):
        return _surface_described_in(Path(name))
    try:
        return surfaces()[name]
    except KeyError:
        names = ", ".join(surfaces())
        raise UnknownSurface(f"there is no practice surface {name!r}; there are {names}") from None


def _surface_described_in(file: Path) -> Surface:
    """Return the surface whose figures a file gives, named as the file is."""
    try:
        figures = tomllib.loads(file.read_text("utf-8"))
        return Surface(name=file.stem, **figures)
    except OSError as error:
        raise UnknownSurface(f"{file} cannot be read ({error.strerror})") from error
    except (ValueError, TypeError) as error:
        entries = ", ".join(one.name for one in fields(Surface) if one.name != "name")
        raise UnknownSurface(
            f"{file} does not describe a surface ({error}); it has these entries: {entries}"
        ) from error
