"""The reserve: how much more dose than black needs a recipe keeps, and where black begins.

A coat that is a little thicker, or a diode that is a little older, needs more dose than the patch
that was read. So a recipe is slower than the fastest speed that is still black.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, hypot, log
from typing import Final

import numpy as np

from etchproof.choosing.judging import PLATEAU_L, Cell, Judgement
from etchproof.choosing.marked_patches import MarkedPatch, Setting
from etchproof.model.monotone import MonotoneCurve, never_falling
from etchproof.reading.hand_marks import Mark

RESERVE: Final = 0.10  # our choice, until it is measured on a tile

# Found by simulation on invented surfaces; `test_reserve` checks them with others.
DARKEST_BY_CHANCE_L: Final = 1.0  # how much too dark the darkest of many patches is read
DOUBT_OF_STEP: Final = 0.5  # nine truths in ten lie within this share of a card's step ...
DOUBT_L: Final = 2.25  # ... and this much lightness of the estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class BlackBegins:
    """The highest speed at one power that is still black, in mm/min.

    Nine times in ten the truth lies no further than `doubt_mm_per_min` from it. None of that is
    known where no faster patch is too light: black begins there or faster. By eye nobody sees where
    between two patches it begins: then black was seen as far as `seen_to_mm_per_min`.
    """

    feed_mm_per_min: float
    doubt_mm_per_min: float | None
    seen_to_mm_per_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReserve:
    """How much slower than its patch a recipe is, and the share of dose beyond black's beginning.

    `reached` is the damaged patch that a whole reserve would have reached, None without one.
    """

    times_the_speed: float
    share: float
    reached: MarkedPatch | None = None
    is_measured: bool = False


def black_begins(cells: Sequence[Cell], chosen: Cell, darkest: float | None) -> BlackBegins:
    """Return where black begins at the power of the `chosen` cell.

    Black is no more than `PLATEAU_L` lighter than `darkest`, or as light as a chosen cell that a
    hand found good.
    """
    column = _column(cells, chosen)
    last = _last_fit(column, chosen)
    faster = next((cell for cell in column if cell.feed_mm_per_min > last.feed_mm_per_min), None)
    if faster is None:
        return BlackBegins(feed_mm_per_min=last.feed_mm_per_min, doubt_mm_per_min=None)
    step = log(faster.feed_mm_per_min / last.feed_mm_per_min)
    read = [cell for cell in column if cell.lightness is not None]
    if darkest is None or last not in read or faster not in read:
        feed = last.feed_mm_per_min * exp(step / 2)
        return BlackBegins(
            feed_mm_per_min=feed,
            doubt_mm_per_min=feed * step * DOUBT_OF_STEP,
            seen_to_mm_per_min=last.feed_mm_per_min,
        )
    limit = max(darkest + DARKEST_BY_CHANCE_L + PLATEAU_L, last.lightness or 0.0)
    feed = _crossing(read, last, faster, limit)
    slope = ((faster.lightness or 0.0) - (last.lightness or 0.0)) / step
    doubt = hypot(DOUBT_OF_STEP * step, DOUBT_L / max(slope, 1e-6))
    return BlackBegins(feed_mm_per_min=feed, doubt_mm_per_min=feed * doubt)


def lightness_at(cells: Sequence[Cell], chosen: Cell, feed_mm_per_min: float) -> float | None:
    """Return how light a patch of the `chosen` power and this speed is, between those read."""
    read = [cell for cell in _column(cells, chosen) if cell.lightness is not None]
    if chosen not in read:
        return chosen.lightness
    feeds = np.log([cell.feed_mm_per_min for cell in read])
    lightness = never_falling(np.array([cell.lightness for cell in read]))
    return float(np.interp(log(feed_mm_per_min), feeds, lightness))


def kept_reserve(
    chosen: Cell,
    begins: BlackBegins,
    marked: Sequence[MarkedPatch],
    *,
    measured: float | None = None,
) -> KeptReserve:
    """Return the reserve that a recipe after `chosen` can keep: a whole one, or less beside damage.

    A whole one is what was `measured` on a tile, else our choice; by eye it counts from what was
    seen to be black.
    """
    wanted = RESERVE if measured is None else measured
    black = begins.seen_to_mm_per_min or begins.feed_mm_per_min
    whole = black / (1 + wanted)
    feed = min(chosen.feed_mm_per_min, whole)
    setting = Setting(chosen.power_ratio, feed, chosen.line_spacing_mm)
    reached = next(
        (
            patch
            for patch in marked
            if patch.mark is Mark.GLAZE_DAMAGED and patch.speaks_for(setting)
        ),
        None,
    )
    if reached is not None:
        feed = chosen.feed_mm_per_min
    return KeptReserve(
        times_the_speed=feed / chosen.feed_mm_per_min,
        share=max(0.0, black / feed - 1),
        reached=reached,
        is_measured=measured is not None,
    )


def _column(cells: Sequence[Cell], chosen: Cell) -> list[Cell]:
    """Return the sound cells of the `chosen` power, from slow to fast."""
    sound = (Judgement.FIT, Judgement.TOO_LIGHT)
    column = [
        cell for cell in cells if cell.power_ratio == chosen.power_ratio and cell.judgement in sound
    ]
    return sorted(column, key=lambda cell: cell.feed_mm_per_min)


def _last_fit(column: Sequence[Cell], chosen: Cell) -> Cell:
    """Return the fastest cell up to which all that are no slower than `chosen` are fit."""
    last = chosen
    for cell in column:
        if cell.feed_mm_per_min > last.feed_mm_per_min:
            if cell.judgement is not Judgement.FIT:
                break
            last = cell
    return last


def _crossing(read: Sequence[Cell], last: Cell, faster: Cell, limit: float) -> float:
    """Return where the lightness of a column of cells passes `limit`, between two of them."""
    feeds = np.log([cell.feed_mm_per_min for cell in read])
    lightness = never_falling(np.array([cell.lightness for cell in read]))
    between = np.linspace(log(last.feed_mm_per_min), log(faster.feed_mm_per_min), 200)
    is_black = MonotoneCurve.through(feeds, lightness)(between) <= limit
    return float(np.exp(between[is_black][-1])) if is_black.any() else last.feed_mm_per_min
