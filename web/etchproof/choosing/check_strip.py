"""A check strip against what its recipe was found with: does it hold, by how much is it off.

The strip's own patches say at which speed black begins now, and so what the recipe has to be. What
an earlier card of the pair showed at the same power says how far the surface has shifted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import exp, log
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchproof.card import CHECK, Card
from etchproof.choosing.judging import PLATEAU_L, Cell, Judgement, darkest_sound, judge
from etchproof.choosing.judging import marked_patches as marked_of
from etchproof.choosing.marked_patches import MarkedPatch, contradictions
from etchproof.choosing.reserve import (
    DARKEST_BY_CHANCE_L,
    BlackBegins,
    KeptReserve,
    black_begins,
    kept_reserve,
    lightness_at,
)
from etchproof.choosing.sentences import GREYS_ANEW, WAS_IT_WIPED, about_fingernail
from etchproof.errors import NothingToChoose
from etchproof.model.monotone import MonotoneCurve, never_falling
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import Reading

SOUND: Final = (Judgement.FIT, Judgement.TOO_LIGHT)
SAME_POWER: Final = 0.01
LEAST_FIT: Final = 2  # black patches, of which one has more dose: else nothing shows a plateau
LEAST_COMPARED: Final = 3
BETWEEN: Final = 400

# Our choice; the doubt was found by simulation and is checked in `test_check_strip`.
SHIFTED_DOSE: Final = 0.12  # a shift in dose that is more than what a reading scatters
DOUBT_OF_SHIFT: Final = 0.12  # nine shifts in ten are read so near
DOUBT_OF_BEGINNING: Final = 0.13  # nine in ten of a strip's own beginnings of black
LEAST_RESERVE: Final = 0.03  # with less left the recipe is slowed down, whatever it was before
LEVELS_L: Final = (4.0, 6.0, 9.0, 12.0, 16.0, 20.0, 25.0, 30.0)  # above black, where doses compare


class Answer(StrEnum):
    """What a check strip says of its recipe."""

    HOLDS = "yes"
    SHIFTED = "shifted"
    TEST_ANEW = "test anew"


@dataclass(frozen=True, slots=True, kw_only=True)
class StripOutcome:
    """What a check strip led to; `sentences` say it to the person.

    `lightness_shift` is in L*, `dose_shift` the share of dose more (or less) that the same black
    needs than on the card compared with; None where there is nothing to compare. `cell` is the
    patch that the answer stands on and `feed_mm_per_min` the speed that the recipe then has; both
    are None where a new test is needed.
    """

    answer: Answer
    cells: tuple[Cell, ...]
    sentences: tuple[str, ...]
    lightness_shift: float | None = None
    dose_shift: float | None = None
    cell: str | None = None
    feed_mm_per_min: float | None = None
    lightness_at_recipe: float | None = None
    is_fingernail_asked: bool = False


def check(
    card: Card,
    reading: Reading | None,
    marks: Mapping[str, Mark],
    *,
    own: Sequence[Cell] = (),
    marked_before: Sequence[MarkedPatch] = (),
    reserve_measured: float | None = None,
) -> StripOutcome:
    """Return what the check strip `card` says of its recipe.

    `own` are the cells of the card that led to the recipe (or the nearest one there is), none
    where it is not known. Raise NothingToChoose where the strip was neither read nor marked.
    """
    if card.kind != CHECK:
        raise NothingToChoose(f"card {card.number} is no check strip")
    if reading is None and not marks:
        raise NothingToChoose("the strip was neither read by camera nor marked by hand")
    before = column_of(own, card.recipe.power_ratio)
    cells = judge(card, reading, marks, darkest_known=_darkest(before), marked_before=marked_before)
    marked = (*marked_before, *marked_of(cells))
    recipe = card.recipe.feed_mm_per_min
    own_cell = min(cells, key=lambda cell: abs(cell.feed_mm_per_min - recipe))
    known_l = _lightness_at(before, recipe)
    own_l = own_cell.lightness
    shift_l = None if own_l is None or known_l is None else own_l - known_l
    dose_shift = shift_of_dose(before, cells)
    shown = _Shown(card, cells, own_cell, before, shift_l, dose_shift)
    questions = contradictions(marked)
    if questions:
        return shown.test_anew(*questions)
    fit = [cell for cell in cells if cell.judgement is Judgement.FIT]
    if len(fit) < LEAST_FIT:
        return shown.test_anew(*shown.why_not_black())
    begins = strip_begins(cells, _darkest(before))
    black = [cell for cell in fit if cell.feed_mm_per_min <= begins.feed_mm_per_min] or fit
    best = max(black, key=lambda cell: cell.feed_mm_per_min)
    return shown.answered(
        best, begins, kept_reserve(best, begins, marked, measured=reserve_measured)
    )


def strip_begins(cells: Sequence[Cell], known_l: float | None = None) -> BlackBegins:
    """Return where black begins on a strip, whose steps are smaller than a reading's scatter.

    So a curve through all patches says it, with black as the middle of the darkest ones, or as the
    card before had it at its darkest, `known_l`. Where no camera looked it lies half a step beyond
    the fastest patch that a hand found good.
    """
    fit = [cell for cell in cells if cell.judgement is Judgement.FIT]
    column = [cell for cell in cells if cell.judgement in SOUND and cell.lightness is not None]
    column.sort(key=lambda cell: cell.feed_mm_per_min)
    if len(column) < LEAST_COMPARED:
        best = max(fit, key=lambda cell: cell.feed_mm_per_min)
        return black_begins(cells, best, darkest_sound(cells))
    black = float(_never_falling(column)[0])
    if known_l is not None:
        black = min(black, known_l + DARKEST_BY_CHANCE_L)
    feed = exp(_last_below(column, black + PLATEAU_L))
    is_seen_to_end = feed < column[-1].feed_mm_per_min
    return BlackBegins(
        feed_mm_per_min=feed,
        doubt_mm_per_min=feed * DOUBT_OF_BEGINNING if is_seen_to_end else None,
    )


@dataclass(frozen=True, slots=True)
class _Shown:
    """A strip as it was read, beside the card compared with."""

    card: Card
    cells: tuple[Cell, ...]
    own_cell: Cell
    before: Sequence[Cell]
    shift_l: float | None
    dose_shift: float | None

    def test_anew(self, *why: str) -> StripOutcome:
        return self._outcome(
            Answer.TEST_ANEW,
            (*why, *self._shifts(), "Start again: etch a power card with this can of paint."),
        )

    def why_not_black(self) -> tuple[str, ...]:
        """Say why the strip shows no black to go by."""
        dark = [cell.lightness for cell in self.cells if cell.lightness is not None]
        known = _darkest(self.before)
        if any(cell.judgement is Judgement.RUBS_OFF for cell in self.cells):
            return ("What is dark enough rubs off.",)
        if any(cell.judgement is Judgement.UNEVEN for cell in self.cells):
            return ("The dark patches are blotchy: look at the coat.",)
        if not dark or known is None or min(dark) <= known + PLATEAU_L:
            return ("Only the slowest patch is black: the surface is beyond what a strip covers.",)
        return (
            f"No patch gets as black as the recipe was: the darkest is L* {min(dark):.0f}, and it "
            f"was L* {known:.0f}.",
            WAS_IT_WIPED,
        )

    def answered(self, best: Cell, begins: BlackBegins, kept: KeptReserve) -> StripOutcome:
        recipe = self.card.recipe.feed_mm_per_min
        left = begins.feed_mm_per_min / recipe - 1
        is_same = self.dose_shift is None or abs(self.dose_shift) <= SHIFTED_DOSE
        is_black = self.own_cell.judgement in SOUND and left >= LEAST_RESERVE
        feed = recipe if is_same and is_black else best.feed_mm_per_min * kept.times_the_speed
        standing = min(
            (c for c in self.cells if c.judgement is Judgement.FIT),
            key=lambda cell: abs(log(cell.feed_mm_per_min / feed)),
        )
        answer = Answer.HOLDS if feed == recipe else Answer.SHIFTED
        begin = f"Black begins at {begins.feed_mm_per_min:.0f} mm/min here"
        if begins.doubt_mm_per_min is None:
            begin = f"Black begins at {begins.feed_mm_per_min:.0f} mm/min or faster here"
        more = (begins.feed_mm_per_min / feed - 1) * 100
        spare = f"{begin}, so {feed:.0f} mm/min keeps {more:.0f} % more dose."
        sentences = (self._first(answer, feed), spare, *self._shifts())
        if answer is Answer.SHIFTED:
            sentences += (GREYS_ANEW,)
        sentences += tuple(about_fingernail(standing))
        outcome = self._outcome(answer, sentences)
        return replace(
            outcome,
            cell=standing.name,
            feed_mm_per_min=feed,
            lightness_at_recipe=lightness_at(self.cells, standing, feed)
            or outcome.lightness_at_recipe,
            is_fingernail_asked=standing.mark is None,
        )

    def _first(self, answer: Answer, feed: float) -> str:
        recipe = self.card.recipe.feed_mm_per_min
        if answer is Answer.HOLDS:
            return f"Yes, the recipe holds: {recipe:.0f} mm/min stays."
        return (
            f"Shifted: the recipe gets {abs(feed / recipe - 1) * 100:.0f} % "
            f"{'slower' if feed < recipe else 'faster'}, {feed:.0f} mm/min instead of "
            f"{recipe:.0f}, with the same power."
        )

    def _shifts(self) -> tuple[str, ...]:
        """Say how far lightness and dose are from the card compared with."""
        if not self.before:
            return (
                "There is no camera's reading of this recipe to compare with, so the strip is "
                "judged by itself.",
            )
        parts = []
        if self.shift_l is not None:
            parts.append(
                f"At the recipe's speed it is {abs(self.shift_l):.1f} L* "
                f"{'lighter' if self.shift_l > 0 else 'darker'} than on card "
                f"{self.before[0].card_number}"
            )
        if self.dose_shift is not None:
            parts.append(
                f"the same black needs {abs(self.dose_shift) * 100:.0f} % "
                f"{'more' if self.dose_shift > 0 else 'less'} dose, give or take "
                f"{DOUBT_OF_SHIFT * 100:.0f} points (nine times in ten it is within that)"
            )
        return (f"{'; '.join(parts)}.",) if parts else ()

    def _outcome(self, answer: Answer, sentences: tuple[str, ...]) -> StripOutcome:
        return StripOutcome(
            answer=answer,
            cells=self.cells,
            sentences=sentences,
            lightness_shift=self.shift_l,
            dose_shift=self.dose_shift,
            lightness_at_recipe=self.own_cell.lightness,
        )


def column_of(cells: Sequence[Cell], power_ratio: float) -> list[Cell]:
    """Return the cells that a camera read at nearly this power, from slow to fast.

    None where they are too few to say how lightness goes with speed.
    """
    column = [
        cell
        for cell in cells
        if cell.lightness is not None
        and cell.judgement in SOUND
        and abs(cell.power_ratio / power_ratio - 1) <= SAME_POWER
    ]
    column.sort(key=lambda cell: cell.feed_mm_per_min)
    return column if len(column) >= LEAST_COMPARED else []


def shift_of_dose(before: Sequence[Cell], now: Sequence[Cell]) -> float | None:
    """Return the share of dose that the same darkness needs more `now` than `before`.

    Both are cells of one power. It is the middle of what several lightnesses above each one's own
    black say; None where they have none in common.
    """
    strip = [cell for cell in now if cell.judgement in SOUND and cell.lightness is not None]
    strip.sort(key=lambda cell: cell.feed_mm_per_min)
    shifts = []
    for level in LEVELS_L:
        places = [_feed_where(cells, level) for cells in (before, strip)]
        if places[0] is not None and places[1] is not None:
            shifts.append(places[0] - places[1])
    return None if not shifts else exp(float(np.median(shifts))) - 1


def _feed_where(cells: Sequence[Cell], level_l: float) -> float | None:
    """Return the logarithm of the speed at which lightness is so far above its black."""
    if len(cells) < LEAST_COMPARED:
        return None
    lightness = _never_falling(cells)
    scale = (100 - lightness[0]) / 100  # so that paler black counts the same greys
    wanted = float(lightness[0] + level_l * scale)
    return _last_below(cells, wanted) if lightness[0] < wanted <= lightness[-1] else None


def _never_falling(column: Sequence[Cell]) -> NDArray[np.floating[Any]]:
    return never_falling(np.array([cell.lightness for cell in column], dtype=np.float64))


def _last_below(column: Sequence[Cell], lightness_l: float) -> float:
    """Return the logarithm of the highest speed that is no lighter, on a curve through them."""
    feeds = np.log([cell.feed_mm_per_min for cell in column])
    between = np.linspace(feeds[0], feeds[-1], BETWEEN)
    is_darker = MonotoneCurve.through(feeds, _never_falling(column))(between) <= lightness_l
    return float(between[is_darker][-1] if is_darker.any() else feeds[0])


def _darkest(column: Sequence[Cell]) -> float | None:
    return min((cell.lightness for cell in column if cell.lightness is not None), default=None)


def _lightness_at(column: Sequence[Cell], feed_mm_per_min: float) -> float | None:
    """Return the lightness between two cells; None beyond them."""
    if not column:
        return None
    if not column[0].feed_mm_per_min <= feed_mm_per_min <= column[-1].feed_mm_per_min:
        return None
    return lightness_at(column, column[0], feed_mm_per_min)
