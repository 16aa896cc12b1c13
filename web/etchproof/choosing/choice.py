"""Choosing: the rule of the trade, computed.

Among the patches in the darkest plateau that are even, hold and are undamaged, take the fastest
that a photo can really run; between equals the lower power. The recipe keeps a reserve of dose.
Where nothing is dark enough, raise the power before slowing down.

Solid patches decide the speed. Among those of one speed the halftone halves say how little power
is too little: single dots need more than a solid patch does.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from etchproof.card import POWER, SOLID, Card
from etchproof.choosing.judging import (
    BLACK_L,
    Cell,
    Judgement,
    darkest_sound,
    is_plateau,
    judge,
    marked_patches,
)
from etchproof.choosing.marked_patches import MarkedPatch, contradictions
from etchproof.choosing.reserve import (
    BlackBegins,
    KeptReserve,
    black_begins,
    kept_reserve,
    lightness_at,
)
from etchproof.choosing.second_card import (
    FULL_POWER,
    between_marks,
    covered_range,
    finer_range,
    kept_below,
    most_dose,
    stronger_range,
    usual_exponent,
    weaker_range,
    within_dose,
)
from etchproof.choosing.sentences import (
    DOTS_KEPT,
    LOOK_BETWEEN,
    about_dots,
    about_fingernail,
    about_paleness,
    about_pulses,
    about_reserve,
    burn_no_more,
    burn_stronger,
    burn_weaker,
    recommendation,
)
from etchproof.errors import NothingToChoose
from etchproof.layout.ranges import Range
from etchproof.layout.reach import photo_reach_mm_per_min
from etchproof.model.response import Point, Response
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import Reading

MARKED_L: Final = 85.0  # lighter, and there is nothing to make a picture of (our choice)
SAME_SPEED: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A cell and the setting that it leads to, slower than the cell by what `reserve` asks for.

    `lightness` is the cell's, `lightness_at_recipe` that of the setting; None where only hands
    judged.
    """

    cell: str
    feed_mm_per_min: float
    power_ratio: float
    lightness: float | None
    lightness_at_recipe: float | None
    begins: BlackBegins
    reserve: KeptReserve


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a power card led to; `sentences` say it to the person.

    Without a choice nothing was fit, or marks contradict each other; `next_range` says where to
    look in either case. `points` are the sound patches, which the curve `response` goes through.
    `is_fingernail_asked` is whether nobody has tried the patch chosen with a fingernail yet.
    """

    cells: tuple[Cell, ...]
    points: tuple[Point, ...]
    choice: Choice | None
    darkest_lightness: float | None
    response: Response | None
    next_range: Range
    sentences: tuple[str, ...]
    is_fingernail_asked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """What a card and those before it showed; `points` are the card's own."""

    cells: tuple[Cell, ...]
    marked: tuple[MarkedPatch, ...]
    points: tuple[Point, ...]
    response: Response | None
    darkest_lightness: float | None
    most_dose_j_per_mm2: float

    @property
    def fit(self) -> list[Cell]:
        return [cell for cell in self.cells if cell.judgement is Judgement.FIT]

    @property
    def pale_lightness(self) -> float | None:
        """The darkest patch's lightness where that is no black, and no hand called one good."""
        darkest = self.darkest_lightness
        is_judged_by_hand = any(cell.mark is Mark.GOOD for cell in self.fit)
        return None if is_judged_by_hand or darkest is None or darkest <= BLACK_L else darkest


def choose(
    card: Card,
    reading: Reading | None,
    marks: Mapping[str, Mark],
    *,
    earlier: Sequence[Outcome] = (),
    strips: Sequence[Cell] = (),
    reserve_measured: float | None = None,
) -> Outcome:
    """Return what `card` leads to, read by camera, marked by hand, or both.

    `earlier` are the outcomes of earlier cards on the same head and surface: they keep the
    standard of darkness and help the curve. `strips` are the cells of earlier check strips, whose
    marks and over-burnt patches hold here too. `reserve_measured` is the share of dose that equal
    patches asked for, None where nobody measured it. Raise NothingToChoose where the card was
    neither read nor marked.
    """
    if card.kind != POWER:
        raise NothingToChoose(f"card {card.number} is no power card, so there is no speed on it")
    if reading is None and not marks:
        raise NothingToChoose("the card was neither read by camera nor marked by hand")
    known = [one.darkest_lightness for one in earlier if one.darkest_lightness is not None]
    cells_before = [*(cell for one in earlier for cell in one.cells), *strips]
    marked_before = marked_patches(cells_before)
    cells = judge(
        card,
        reading,
        marks,
        darkest_known=min(known, default=None),
        marked_before=marked_before,
    )
    marked = (*marked_before, *marked_patches(cells))
    questions = contradictions(marked)
    if questions:
        return _no_choice(cells, questions, covered_range(card))
    own = _points(cells, card)
    before = [point for one in earlier for point in one.points]
    seen = _Seen(
        cells=cells,
        marked=marked,
        points=own,
        response=_response([*before, *own], card.spacing_mm),
        darkest_lightness=darkest_sound(cells),
        most_dose_j_per_mm2=most_dose([*cells_before, *cells], card.head.rated_optical_w),
    )
    pale_l = seen.pale_lightness
    if not seen.fit or (pale_l is not None and not (pale_l <= MARKED_L and is_plateau(cells))):
        return _nothing_fit(card, seen)
    return _fastest_chosen(card, seen, reserve_measured)


def _fastest_chosen(card: Card, seen: _Seen, reserve_measured: float | None) -> Outcome:
    best = _fastest(seen.fit)
    begins = black_begins(seen.cells, best, seen.darkest_lightness)
    reserve = kept_reserve(best, begins, seen.marked, measured=reserve_measured)
    lightness_at_recipe = lightness_at(
        seen.cells, best, best.feed_mm_per_min * reserve.times_the_speed
    )
    choice = Choice(
        cell=best.name,
        feed_mm_per_min=_feed_to_ask(best) * reserve.times_the_speed,
        power_ratio=_power_to_ask(best),
        lightness=best.lightness,
        lightness_at_recipe=lightness_at_recipe,
        begins=begins,
        reserve=reserve,
    )
    best_j_per_mm2 = best.dose_j_per_mm2(card.head.rated_optical_w)
    next_range = finer_range(
        card,
        best,
        photo_reach_mm_per_min(card.head, card.spacing_mm, card.halftone),
        seen.response.exponent if seen.response else usual_exponent(),
        most_dose_j_per_mm2=max(seen.most_dose_j_per_mm2, best_j_per_mm2),
    )
    return Outcome(
        cells=seen.cells,
        points=seen.points,
        choice=choice,
        darkest_lightness=seen.darkest_lightness,
        response=seen.response,
        next_range=next_range,
        is_fingernail_asked=best.mark is None,
        sentences=(
            *about_paleness(seen.pale_lightness),
            recommendation(best, choice.feed_mm_per_min, choice.power_ratio),
            about_reserve(best, begins, reserve),
            *about_fingernail(best),
            *about_dots(best),
            *next_range.notes,
            *about_pulses(card, choice.feed_mm_per_min, choice.power_ratio),
        ),
    )


def _fastest(fit: Sequence[Cell]) -> Cell:
    """Return the fastest cell that a photo can really run, of equals that with less power."""
    really_run = [cell for cell in fit if cell.is_really_run] or list(fit)
    top = max(cell.photo_feed_mm_per_min for cell in really_run)
    equals = [c for c in really_run if c.photo_feed_mm_per_min >= top * (1 - SAME_SPEED)]
    if any(_keeps_dots(cell) for cell in equals):
        equals = [cell for cell in equals if _keeps_dots(cell)]
    elif any(cell.halftone_coverage is not None for cell in equals):
        equals = [max(equals, key=lambda cell: cell.halftone_coverage or 0.0)]
    return min(equals, key=lambda cell: (cell.power_ratio, -cell.feed_mm_per_min))


def _keeps_dots(cell: Cell) -> bool:
    return cell.mark is Mark.GOOD or (cell.halftone_coverage or 0.0) >= DOTS_KEPT


def _feed_to_ask(cell: Cell) -> float:
    return cell.feed_mm_per_min if cell.is_really_run else cell.photo_feed_mm_per_min


def _power_to_ask(cell: Cell) -> float:
    """Return the power for the speed really run: dynamic power had lowered it as much."""
    if cell.is_really_run:
        return cell.power_ratio
    return cell.power_ratio * cell.photo_feed_mm_per_min / cell.feed_mm_per_min


def _points(cells: Sequence[Cell], card: Card) -> tuple[Point, ...]:
    """Return what the sound solid patches got, as they really ran, and what they showed."""
    solid_feeds = {
        patch.cell: patch.true_feed_mm_per_min for patch in card.patches if patch.part == SOLID
    }
    points = []
    for cell in cells:
        if cell.reflectance is None or cell.judgement not in (Judgement.FIT, Judgement.TOO_LIGHT):
            continue
        feed = solid_feeds[cell.name]
        power_w = card.head.rated_optical_w * cell.power_ratio * feed / cell.feed_mm_per_min
        points.append(Point(power_w=power_w, feed_mm_per_min=feed, reflectance=cell.reflectance))
    return tuple(points)


def _response(points: Sequence[Point], spacing_mm: float) -> Response | None:
    """Fit the darkness response; None where there are too few points, or all are alike."""
    try:
        return Response.fitted(points, spacing_mm)
    except NothingToChoose:
        return None


def _nothing_fit(card: Card, seen: _Seen) -> Outcome:
    sentence, next_range = _where_to_look(card, seen)
    return replace(
        _no_choice(seen.cells, (sentence,), next_range),
        points=seen.points,
        darkest_lightness=seen.darkest_lightness,
        response=seen.response,
    )


def _where_to_look(card: Card, seen: _Seen) -> tuple[str, Range]:
    """Return where the next card looks, and why."""
    covered = covered_range(card)
    spoilt = (Judgement.GLAZE_DAMAGED, Judgement.UNEVEN, Judgement.BURNT_TOO_FAR)
    if not seen.fit:
        between = between_marks(seen.marked)
        if between is not None:
            return LOOK_BETWEEN, kept_below(between, card, seen.most_dose_j_per_mm2)
        if any(cell.judgement in spoilt for cell in seen.cells):
            weaker = kept_below(weaker_range(covered), card, seen.most_dose_j_per_mm2)
            return burn_weaker(weaker), weaker
    stronger = within_dose(stronger_range(covered), card, seen.most_dose_j_per_mm2)
    if stronger is None:
        return burn_no_more(seen.most_dose_j_per_mm2), covered
    is_at_full_power = covered.high_power_ratio >= FULL_POWER
    return burn_stronger(stronger, is_at_full_power=is_at_full_power), stronger


def _no_choice(cells: tuple[Cell, ...], sentences: tuple[str, ...], next_range: Range) -> Outcome:
    return Outcome(
        cells=cells,
        points=(),
        choice=None,
        darkest_lightness=None,
        response=None,
        next_range=next_range,
        sentences=sentences,
    )
