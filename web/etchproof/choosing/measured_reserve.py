"""The reserve as measured: from where black begins at the centre and the corners of a tile."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, log
from typing import Final

import numpy as np

from etchproof.card import PLACE_NAMES, Card
from etchproof.choosing.check_strip import SOUND, Answer, StripOutcome, strip_begins
from etchproof.choosing.judging import Cell, Judgement, judge, marked_patches
from etchproof.choosing.marked_patches import MarkedPatch
from etchproof.choosing.reserve import BlackBegins, KeptReserve, kept_reserve
from etchproof.choosing.sentences import GREYS_ANEW, about_fingernail
from etchproof.errors import NothingToChoose
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import Reading

LEAST_RESERVE: Final = 0.03  # what a reading scatters; no tile needs less (our choice)
SAME_SPEED: Final = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class ReserveOutcome:
    """What five places led to; `reserve` is how much more dose the hardest place needs."""

    strip: StripOutcome
    reserve: float | None


def is_of_places(card: Card) -> bool:
    """Return whether a check card has its speeds in several places."""
    return len({patch.feed_mm_per_min for patch in card.patches}) < len(card.patches)


def measure_reserve(
    card: Card,
    reading: Reading | None,
    marks: Mapping[str, Mark],
    *,
    marked_before: Sequence[MarkedPatch] = (),
) -> ReserveOutcome:
    """Return the reserve that a reserve card shows, and what its recipe becomes with it.

    Raise NothingToChoose without a camera's reading.
    """
    if reading is None:
        raise NothingToChoose("a reserve is read by camera only: take a photo of the card")
    darkest = min(patch.lightness for patch in reading.patches)
    marked = (*marked_before, *marked_patches(judge(card, reading, marks)))
    by_place = {
        place: _cells_of(card, reading, marks, place, darkest_l=darkest, marked=marked)
        for place in PLACE_NAMES
    }
    cells = tuple(sorted((c for cs in by_place.values() for c in cs), key=lambda cell: cell.name))
    recipe = card.recipe.feed_mm_per_min
    own = [cell for cell in cells if cell.feed_mm_per_min == recipe]
    lightness = max((c.lightness for c in own if c.lightness is not None), default=None)
    outcome = StripOutcome(
        answer=Answer.TEST_ANEW,
        cells=cells,
        sentences=(),
        lightness_at_recipe=lightness,
    )
    fit = {
        place: [cell for cell in of_place if cell.judgement is Judgement.FIT]
        for place, of_place in by_place.items()
    }
    poor = [PLACE_NAMES[place] for place, of_place in fit.items() if not of_place]
    if poor:
        strip = replace(outcome, sentences=(_not_black(poor, cells),))
        return ReserveOutcome(strip=strip, reserve=None)
    begins = _beginnings(by_place, darkest)
    reserve = max(LEAST_RESERVE, max(begins.values()) / min(begins.values()) - 1)
    usual = exp(sum(log(feed) for feed in begins.values()) / len(begins))
    hardest = min(begins, key=lambda place: begins[place])
    best = max(fit[hardest], key=lambda cell: cell.feed_mm_per_min)
    beginning = BlackBegins(feed_mm_per_min=usual, doubt_mm_per_min=None)
    kept = kept_reserve(best, beginning, marked, measured=reserve)
    feed = best.feed_mm_per_min * kept.times_the_speed
    if abs(feed / recipe - 1) <= SAME_SPEED and kept.reached is None:
        feed = recipe
    standing = min(fit[hardest], key=lambda cell: abs(log(cell.feed_mm_per_min / feed)))
    strip = replace(
        outcome,
        answer=Answer.HOLDS if feed == recipe else Answer.SHIFTED,
        sentences=tuple(_sentences(begins, reserve, kept, feed, recipe, standing)),
        cell=standing.name,
        feed_mm_per_min=feed,
        lightness_at_recipe=standing.lightness,
        is_fingernail_asked=standing.mark is None,
    )
    return ReserveOutcome(strip=strip, reserve=reserve)


def _not_black(poor: Sequence[str], cells: Sequence[Cell]) -> str:
    if any(cell.judgement is Judgement.GLAZE_DAMAGED for cell in cells):
        how = "with less dose than damages the glaze elsewhere: both cannot be had on this tile"
    else:
        how = f"even at {min(cell.feed_mm_per_min for cell in cells):.0f} mm/min"
    return (
        f"Not black at {', '.join(poor)} {how}. Look at focus and coat there, then start again "
        "with a power card."
    )


def _beginnings(by_place: Mapping[int, Sequence[Cell]], darkest_l: float) -> dict[int, float]:
    """Return the speed at which black begins in each place.

    It begins where it does on the mean of all places, moved by what each place needs more dose:
    by least squares over its patches, those counting most where lightness changes most with speed.
    """
    feeds = sorted({cell.feed_mm_per_min for cells in by_place.values() for cell in cells})
    shown = {
        (place, cell.feed_mm_per_min): cell.lightness
        for place, cells in by_place.items()
        for cell in cells
        if cell.lightness is not None and cell.judgement in SOUND
    }
    mean = np.array([_mean([shown.get((place, feed)) for place in by_place]) for feed in feeds])
    slopes = np.maximum(np.gradient(mean, np.log(feeds)), 0.0)
    template = next(iter(by_place.values()))
    usual = strip_begins(
        [
            replace(cell, lightness=float(lightness))
            for cell, lightness in zip(
                sorted(template, key=lambda cell: cell.feed_mm_per_min), mean, strict=True
            )
        ],
        darkest_l,
    ).feed_mm_per_min
    begins = {}
    for place in by_place:
        known = [(j, shown[place, feed]) for j, feed in enumerate(feeds) if (place, feed) in shown]
        weight = sum(slopes[j] ** 2 for j, _ in known)
        more = sum(slopes[j] * ((light or 0.0) - mean[j]) for j, light in known)
        begins[place] = usual * exp(-more / weight) if weight else usual
    return begins


def _mean(lightness: Sequence[float | None]) -> float:
    seen = [value for value in lightness if value is not None]
    return sum(seen) / len(seen) if seen else 100.0


def _cells_of(
    card: Card,
    reading: Reading,
    marks: Mapping[str, Mark],
    place: int,
    *,
    darkest_l: float,
    marked: Sequence[MarkedPatch],
) -> tuple[Cell, ...]:
    patches = tuple(patch for patch in card.patches if patch.cell[1:] == f"{place}")
    here = {patch.cell: marks[patch.cell] for patch in patches if patch.cell in marks}
    of_place = replace(card, patches=patches)
    return judge(of_place, reading, here, darkest_known=darkest_l, marked_before=marked)


def _sentences(
    begins: Mapping[int, float],
    reserve: float,
    kept: KeptReserve,
    feed: float,
    recipe: float,
    standing: Cell,
) -> list[str]:
    low, high = min(begins, key=begins.__getitem__), max(begins, key=begins.__getitem__)
    sentences = [
        f"Black begins at {begins[low]:.0f} mm/min at {PLACE_NAMES[low]} and at "
        f"{begins[high]:.0f} mm/min at {PLACE_NAMES[high]}: the reserve measured on this tile is "
        f"{reserve * 100:.0f} %, instead of the 10 % of our choice. Another tile may differ.",
    ]
    if kept.reached is not None:
        sentences.append(
            f"A whole reserve would reach patch {kept.reached.name}, whose glaze is damaged, so "
            f"both cannot be had: {feed:.0f} mm/min keeps {kept.share * 100:.0f} %. The hardest "
            "place may rub off."
        )
    elif feed == recipe:
        sentences.append(f"The recipe keeps it: {recipe:.0f} mm/min stays.")
    else:
        sentences.append(
            f"With it the recipe becomes {feed:.0f} mm/min instead of {recipe:.0f}, with the same "
            f"power. {GREYS_ANEW}"
        )
    return [*sentences, *about_fingernail(standing)]
