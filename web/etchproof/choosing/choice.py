"""Choosing: the rule of the trade, computed.

Among the patches in the darkest plateau that are even, hold and are undamaged, take the fastest
that a photo can really run; between equals the lower power. Where nothing is dark enough, raise
the power before slowing down.

Solid patches decide the speed. Among those of one speed the halftone halves say how little power
is too little: single dots need more than a solid patch does.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from etchproof.card import POWER, SOLID, Card
from etchproof.choosing.judging import (
    PLATEAU_L,
    Cell,
    Judgement,
    darkest_sound,
    is_plateau,
    judge,
    marked_patches,
)
from etchproof.choosing.marked_patches import MarkedPatch, contradictions
from etchproof.choosing.second_card import (
    FULL_POWER,
    between_marks,
    covered_range,
    finer_range,
    most_dose,
    stronger_range,
    usual_exponent,
    weaker_range,
    within_dose,
)
from etchproof.errors import NothingToChoose
from etchproof.layout.ranges import MOST_DOSE_J_PER_MM2, Range
from etchproof.layout.reach import photo_reach_mm_per_min
from etchproof.model.response import Point, Response
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import Reading
from etchwire.catalogue import Recipe
from etchwire.power_pulses import pulse_note

BLACK_L: Final = 50.0  # half way to white: lighter is no black, even if nothing is darker
MARKED_L: Final = 85.0  # lighter, and there is nothing to make a picture of (both our choice)
SAME_SPEED: Final = 0.01
DOTS_KEPT: Final = 0.4  # of an area half burnt: less, and light greys have no dots (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A cell and the setting it recommends.

    The speed is uncertain by half a step of the card, or by less where the fitted curve says
    more exactly where the plateau ends. `lightness` is None where only hands judged.
    """

    cell: str
    feed_mm_per_min: float
    power_ratio: float
    lightness: float | None
    feed_uncertainty_mm_per_min: float


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


def choose(
    card: Card,
    reading: Reading | None,
    marks: Mapping[str, Mark],
    *,
    earlier: Sequence[Outcome] = (),
) -> Outcome:
    """Return what `card` leads to, read by camera, marked by hand, or both.

    `earlier` are the outcomes of earlier cards on the same head and surface: they keep the
    standard of darkness and help the curve. Raise NothingToChoose where the card was neither
    read nor marked.
    """
    if card.kind != POWER:
        raise NothingToChoose(f"card {card.number} is no power card, so there is no speed on it")
    if reading is None and not marks:
        raise NothingToChoose("the card was neither read by camera nor marked by hand")
    known = [one.darkest_lightness for one in earlier if one.darkest_lightness is not None]
    marked_before = [patch for one in earlier for patch in marked_patches(one.cells)]
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
    response = _response([*before, *own], card.spacing_mm)
    darkest = darkest_sound(cells)
    fit = [cell for cell in cells if cell.judgement is Judgement.FIT]
    is_judged_by_hand = any(cell.mark is Mark.GOOD for cell in fit)
    pale_l = None if is_judged_by_hand or darkest is None or darkest <= BLACK_L else darkest
    every = [cell for one in earlier for cell in one.cells] + list(cells)
    most_j_per_mm2 = most_dose(every, card.head.rated_optical_w)
    if not fit or (pale_l is not None and not (pale_l <= MARKED_L and is_plateau(cells))):
        nothing = _nothing_fit(card, cells, marked, most_j_per_mm2)
        return replace(nothing, darkest_lightness=darkest, points=own, response=response)
    best = _fastest(fit)
    limit = (darkest if darkest is not None else 0.0) + PLATEAU_L
    choice = Choice(
        cell=best.name,
        feed_mm_per_min=_feed_to_ask(best),
        power_ratio=_power_to_ask(best),
        lightness=best.lightness,
        feed_uncertainty_mm_per_min=_uncertainty(card, best, response, limit),
    )
    reach = photo_reach_mm_per_min(card.head, card.spacing_mm, card.halftone)
    exponent = response.exponent if response else usual_exponent()
    next_range = finer_range(
        card,
        best,
        reach,
        exponent,
        most_dose_j_per_mm2=max(most_j_per_mm2, best.dose_j_per_mm2(card.head.rated_optical_w)),
    )
    return Outcome(
        cells=cells,
        points=own,
        choice=choice,
        darkest_lightness=darkest,
        response=response,
        next_range=next_range,
        is_fingernail_asked=best.mark is None,
        sentences=(
            *_about_paleness(pale_l),
            _recommendation(choice, best),
            *_about_fingernail(best),
            *_about_dots(best),
            *next_range.notes,
            *_about_pulses(choice, card),
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


def _uncertainty(card: Card, best: Cell, response: Response | None, limit: float) -> float:
    feeds = sorted({patch.feed_mm_per_min for patch in card.patches})
    place = feeds.index(best.feed_mm_per_min)
    faster = feeds[min(place + 1, len(feeds) - 1)]
    slower = feeds[max(place - 1, 0)]
    half_step = max(faster - best.feed_mm_per_min, best.feed_mm_per_min - slower) / 2
    power_w = card.head.rated_optical_w * best.power_ratio
    fitted = response.feed_sd(limit, power_w) if response else None
    return half_step if fitted is None else min(half_step, fitted)


def _nothing_fit(
    card: Card,
    cells: tuple[Cell, ...],
    marked: Sequence[MarkedPatch],
    most_j_per_mm2: float,
) -> Outcome:
    covered = covered_range(card)
    spoilt = (Judgement.GLAZE_DAMAGED, Judgement.UNEVEN, Judgement.BURNT_TOO_FAR)
    is_any_fit = any(cell.judgement is Judgement.FIT for cell in cells)
    is_spoilt = not is_any_fit and any(cell.judgement in spoilt for cell in cells)
    between = None if is_any_fit else between_marks(marked)
    if between is not None:
        sentence = (
            "What holds is damaged, and what is undamaged rubs off: the next card looks between "
            "them, in finer steps."
        )
        return _no_choice(cells, (sentence,), between)
    if is_spoilt:
        weaker = weaker_range(covered)
        sentence = (
            "Every patch that is dark enough is blotchy or has damaged the glaze: burn the next "
            f"card with less power, up to {weaker.high_power_ratio * 100:.0f} %."
        )
        return _no_choice(cells, (sentence,), weaker)
    stronger = within_dose(stronger_range(covered), card, most_j_per_mm2)
    if stronger is None:
        return _no_choice(cells, (_too_much(most_j_per_mm2),), covered)
    if covered.high_power_ratio < FULL_POWER:
        sentence = (
            "No patch is dark enough and holds. Raise the power before slowing down: the next "
            f"card goes from {stronger.low_power_ratio * 100:.0f} to 100 % at "
            f"{_speeds(stronger)}."
        )
    else:
        sentence = (
            "No patch is dark enough and holds, even at full power: the next card is slower, "
            f"{_speeds(stronger)}."
        )
    return _no_choice(cells, (sentence,), stronger)


def _speeds(wanted: Range) -> str:
    return f"{wanted.low_feed_mm_per_min:.0f} to {wanted.high_feed_mm_per_min:.0f} mm/min"


def _too_much(most_j_per_mm2: float) -> str:
    if most_j_per_mm2 < MOST_DOSE_J_PER_MM2:
        return (
            f"No patch is dark enough and holds, and {most_j_per_mm2:.2g} J/mm² has burnt a patch "
            "too far already, so no card with more is proposed: look at focus and lens, then burn "
            "this card again."
        )
    return (
        f"This laser does not mark this surface dark enough with {most_j_per_mm2:.0f} J/mm², more "
        "than any surface is known to need: look at focus and lens, or try another paint or a "
        "thicker coat."
    )


def _about_paleness(darkest: float | None) -> tuple[str, ...]:
    if darkest is None:
        return ()
    return (
        f"This paint gets no darker than L* {darkest:.0f} here, and more dose does not change "
        "that: another paint or a thicker coat may. This is the fastest patch that is as dark.",
    )


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


def _recommendation(choice: Choice, best: Cell) -> str:
    dark = "by hand" if choice.lightness is None else f"lightness {choice.lightness:.0f}"
    text = (
        f"Patch {choice.cell}: {choice.feed_mm_per_min:.0f} mm/min, give or take "
        f"{choice.feed_uncertainty_mm_per_min:.0f}, with {choice.power_ratio * 100:.3g} % power "
        f"({dark})."
    )
    if best.is_really_run:
        return text
    return (
        f"{text} It was asked to run at {best.feed_mm_per_min:.0f} mm/min with "
        f"{best.power_ratio * 100:.3g} %, which fine detail does not reach; this is what it ran."
    )


def _about_fingernail(best: Cell) -> tuple[str, ...]:
    if best.mark is None:
        return (
            f"Before you take it: does patch {best.name} hold under a fingernail? Mark it “good” "
            "if it does and “rubs off” if it does not.",
        )
    if best.mark is Mark.COULD_NOT_TELL:
        return (
            f"Whether patch {best.name} holds under a fingernail could not be told: try it on the "
            "first tile before you etch many.",
        )
    return ()


def _about_pulses(choice: Choice, card: Card) -> tuple[str, ...]:
    """Say so where the controller's pulses of light are about as long as a dot."""
    recipe = Recipe(
        surface="",
        feed_mm_per_min=choice.feed_mm_per_min,
        power_ratio=choice.power_ratio,
        line_spacing_mm=card.spacing_mm,
    )
    note = pulse_note(card.head, recipe)
    return () if note is None else (note,)


def _about_dots(best: Cell) -> tuple[str, ...]:
    """Say so when single dots hardly mark where solid areas do."""
    if best.halftone_coverage is None or best.halftone_coverage >= DOTS_KEPT:
        return ()
    return (
        f"Fine detail of which half is burnt looks only {best.halftone_coverage * 100:.0f} % burnt "
        "there: etch a tone card, or keep more of the light greys with less speed.",
    )
