"""Hairline shifts: how far the lower hairline of each pair lies beside its upper one."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchproof.card import Area, Card
from etchproof.layout.patch_core import core_of
from etchproof.reading.bare_light import BareLight
from etchproof.reading.rectification import Rectified
from etchproof.reading.values import HairlineShift

LEAST_DARKNESS: Final = 0.04  # of bare tile; a blurred hairline is far from black
BACKGROUND: Final = 0.25  # of the peak: what is below it is noise, not hairline

Profile = NDArray[np.floating[Any]]


def measure_hairlines(seen: Rectified, bare: BareLight, card: Card) -> tuple[HairlineShift, ...]:
    """Return the pairs of a register card of which both hairlines can be seen."""
    shifts = []
    for pair in card.hairlines:
        upper, lower = (
            _middle_mm(seen, bare, area, card.spacing_mm) for area in (pair.upper, pair.lower)
        )
        if upper is None or lower is None:
            continue
        shifts.append(
            HairlineShift(
                number=pair.number,
                offset_mm=pair.offset_mm,
                feed_mm_per_min=pair.feed_mm_per_min,
                true_feed_mm_per_min=pair.true_feed_mm_per_min,
                shift_mm=lower - upper,
            )
        )
    return tuple(shifts)


def _middle_mm(seen: Rectified, bare: BareLight, area: Area, spacing_mm: float) -> float | None:
    """Return where the hairline in `area` is darkest on average, in mm from the card's left."""
    rows = core_of(area)
    scale = spacing_mm * seen.px_per_mm
    top, bottom = round(rows.top * scale), round(rows.bottom * scale)
    left, right = round(area.left * scale), round(area.right * scale)
    x_mm = (np.arange(left, right) + 0.5) / seen.px_per_mm
    y_mm = np.full(len(x_mm), (rows.top + rows.bottom) / 2 * spacing_mm)
    light = seen.light[top:bottom, left:right].mean(axis=0)
    darkness = 1 - light / bare.at(area, x_mm, y_mm, spacing_mm)
    return _centre(x_mm, darkness)


def _centre(x_mm: Profile, darkness: Profile) -> float | None:
    peak = float(darkness.max())
    if peak < LEAST_DARKNESS:
        return None
    above = np.maximum(darkness - BACKGROUND * peak, 0)
    hill = _hill_round(above, int(darkness.argmax()))
    weights = above * hill
    return float((weights * x_mm).sum() / weights.sum())


def _hill_round(above: Profile, top: int) -> NDArray[np.bool_]:
    """Return the stretch round `top` that is above the background, and no other one."""
    is_above = above > 0
    gaps = np.flatnonzero(~is_above)
    left = gaps[gaps < top].max(initial=-1)
    right = gaps[gaps > top].min(initial=len(above))
    place = np.arange(len(above))
    here: NDArray[np.bool_] = (place > left) & (place < right)
    return here
