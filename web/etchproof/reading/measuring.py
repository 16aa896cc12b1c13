"""Measuring: what the middle of every patch sends back, beside the bare tile around it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchphoto.light import lightness
from etchproof.card import Area, Card
from etchproof.layout.patch_core import core_of
from etchproof.reading.bare_light import BareLight
from etchproof.reading.disturbed_light import (
    UNCORRECTED,
    Disturbance,
    disturbance_of,
    own_deviations,
)
from etchproof.reading.rectification import Rectified

UNEVEN_CELL_MM: Final = 0.5  # finer than this is the halftone itself

WHITE_LIGHT: Final = 0.965  # code 251 of 255: what is brighter was cut off
BLACK_LIGHT: Final = 0.0004  # code 1
CLIPPED_SHARE: Final = 0.02
GLARE: Final = 0.06  # the logarithm by which glare is brighter than the smooth light
GLARE_SHARE: Final = 0.05

GLARE_FAULT: Final = Disturbance.GLARE.value
WHITE_FAULT: Final = "clipped-highlights"
SHADOW_FAULT: Final = "clipped-shadows"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One area in one photo; reflectance is relative to the bare tile there.

    `unevenness` is the scatter of lightness over half-millimetre cells; `fault` names what
    makes the measurement worthless, if anything does.
    """

    reflectance: float
    lightness: float
    unevenness: float
    fault: str | None = None


def measure_patches(
    seen: Rectified, bare: BareLight, card: Card
) -> Mapping[tuple[str, str], Measured]:
    """Return what each patch shows, by cell and part."""
    disturbance = disturbance_of(bare, card)
    return {
        (patch.cell, patch.part): measure(
            seen, bare, patch.area, card.spacing_mm, disturbance=disturbance
        )
        for patch in card.patches
    }


def measure(
    seen: Rectified,
    bare: BareLight,
    area: Area,
    spacing_mm: float,
    *,
    disturbance: Disturbance = Disturbance.NONE,
) -> Measured:
    """Return what the core of `area` shows; `disturbance` is what disturbs light on the card."""
    core = core_of(area)
    light, x_mm, y_mm = _pixels(seen, core, spacing_mm)
    shape = light.shape
    bare_light = bare.at(area, x_mm.ravel(), y_mm.ravel(), spacing_mm).reshape(shape)
    reflectance = light / bare_light
    mean = float(reflectance.mean())
    return Measured(
        reflectance=mean,
        lightness=_lightness(mean),
        unevenness=_unevenness(reflectance, seen.px_per_mm),
        fault=_fault(light, bare, area, spacing_mm, disturbance=disturbance),
    )


def _pixels(
    seen: Rectified, area: Area, spacing_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    scale = spacing_mm * seen.px_per_mm
    top, left = round(area.top * scale), round(area.left * scale)
    bottom, right = round(area.bottom * scale), round(area.right * scale)
    light = seen.light[top:bottom, left:right].astype(np.float64)
    rows, columns = np.mgrid[top:bottom, left:right]
    return light, (columns + 0.5) / seen.px_per_mm, (rows + 0.5) / seen.px_per_mm


def _unevenness(reflectance: NDArray[np.float64], px_per_mm: float) -> float:
    cell_px = UNEVEN_CELL_MM * px_per_mm
    rows, columns = (max(1, round(side / cell_px)) for side in reflectance.shape)
    cells = cv2.resize(reflectance, (columns, rows), interpolation=cv2.INTER_AREA)
    return float(np.std(lightness(np.maximum(cells, 0))))


def _lightness(reflectance: float) -> float:
    return float(lightness(np.array(max(0.0, reflectance))))


def _fault(
    light: NDArray[np.float64],
    bare: BareLight,
    area: Area,
    spacing_mm: float,
    *,
    disturbance: Disturbance,
) -> str | None:
    here = bare.around(area, spacing_mm)
    if disturbance in (Disturbance.HARD_SHADOW, Disturbance.SOFT_SHADOW):
        if float(np.std(own_deviations(bare, area, spacing_mm))) > UNCORRECTED:
            return disturbance.value
    elif _share(bare.deviations[here] > GLARE) > GLARE_SHARE:
        return GLARE_FAULT
    clipped = _share(light >= WHITE_LIGHT), _share(bare.log_light[here] > np.log(WHITE_LIGHT))
    if max(clipped) > CLIPPED_SHARE:
        return WHITE_FAULT
    if _share(light <= BLACK_LIGHT) > CLIPPED_SHARE:
        return SHADOW_FAULT
    return None


def _share(where: NDArray[np.bool_]) -> float:
    return float(where.mean()) if where.size else 0.0
