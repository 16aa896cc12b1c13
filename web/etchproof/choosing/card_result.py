"""What a card showed, as plain tables: for the page to draw, for the logbook to keep.

A page cannot load numpy, and the logbook keeps figures beside the pictures: both get the outcome
of a card as JSON.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Final

from etchproof.card import CHECK, FOCUS, POWER, REGISTER, SPACING, TONE, Card
from etchproof.choosing.chart import chart_of, strip_chart
from etchproof.choosing.check_strip import Answer, check, column_of
from etchproof.choosing.choice import Outcome, choose
from etchproof.choosing.durability import Trial, loss_of, loss_sentences
from etchproof.choosing.focus_words import focus_sentences
from etchproof.choosing.judging import Cell, judge, marked_patches
from etchproof.choosing.measured_reserve import is_of_places, measure_reserve
from etchproof.choosing.sentences import about_wiping
from etchproof.choosing.spacing_choice import read_spacing
from etchproof.choosing.spacing_words import spacing_sentences
from etchproof.errors import NoFocus, NoSpacing, NoToneCurve, UnreadableCard
from etchproof.model.focus_reading import read_focus
from etchproof.model.register_reading import register_by_camera, register_by_eye
from etchproof.model.single_dots import pale_dots
from etchproof.model.tone_reading import read_dot, read_tone
from etchproof.reading.hand_marks import (
    OTHER_WAY_ROUND,
    WEDGE,
    Mark,
    marks_from_table,
    wedge_turned,
)
from etchproof.reading.values import Reading
from etchwire.catalogue.heads import MeasuredSpot

HUNDREDTH_MM: Final = 0.01
FIVE: Final = 5  # patches of the card that asks whether a recipe still holds


@dataclass(frozen=True, slots=True, kw_only=True)
class CardEvidence:
    """What is known of a card by camera, by marks on its cells, by eye on its hairlines.

    `meets` gives by speed (mm/min) the pair of a register card that looks like one line;
    `is_wedge_turned` is the person's word that a focus card's wedge lay the other way round.
    `in_force` is the recipe in force as a table of `RecipeRecord` with the `card_number` that led
    to it, where a check strip asks; `trial` is what a strip went through since it was read first.
    """

    card: Card
    reading: Reading | None = None
    marks: Mapping[str, Mark] = field(default_factory=dict)
    meets: Mapping[float, float] = field(default_factory=dict)
    is_wedge_turned: bool = False
    in_force: Mapping[str, Any] | None = None
    trial: Trial | None = None

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> "CardEvidence":
        """Build from stored texts: `card` and `reading` as JSON, `marks` and `meets` as words."""
        card = Card.from_json(table["card"])
        stored = table.get("reading")
        try:
            meets = {float(feed): float(at) for feed, at in table.get("meets", {}).items()}
        except ValueError as error:
            raise UnreadableCard("speeds and pairs are numbers, as 4000 and 7.5") from error
        return cls(
            card=card,
            reading=Reading.from_json(stored) if stored else None,
            marks=marks_from_table(table.get("marks", {}), card),
            meets=meets,
            is_wedge_turned=wedge_turned(table.get("marks", {}), card),
            in_force=table.get("in_force"),
            trial=Trial.from_table(table["trial"]) if table.get("trial") else None,
        )

    def with_mark(self, cell: str, mark: Mark) -> "CardEvidence":
        """Return the same with what a hand found on one cell."""
        return replace(self, marks={**self.marks, cell: mark})

    def with_reading(self, reading: Reading) -> "CardEvidence":
        """Return the same with what a camera read."""
        return replace(self, reading=reading)

    @property
    def marks_table(self) -> dict[str, str]:
        """What a person said, as the logbook keeps it."""
        if self.meets:
            return {f"{feed:g}": f"{pair:g}" for feed, pair in self.meets.items()}
        marks = {cell: mark.value for cell, mark in self.marks.items()}
        return marks | ({WEDGE: OTHER_WAY_ROUND} if self.is_wedge_turned else {})

    @property
    def way(self) -> str:
        """Whether it was read by camera, by hand or both."""
        by_hand = self.marks or self.meets or self.is_wedge_turned
        if self.reading is None:
            return "hand"
        return "both" if by_hand else "camera"


@dataclass(frozen=True, slots=True, kw_only=True)
class CardResult:
    """The outcome of a card.

    `table` is for the page; `summary` holds single figures for the time line; `recommended` is
    what may be accepted: `{"recipe": …}`, `{"register": …}` or `{"spot": …}`, or None.
    """

    table: Mapping[str, Any]
    summary: Mapping[str, Any]
    recommended: Mapping[str, Any] | None


def result_of(shown: CardEvidence, *, earlier: Sequence[CardEvidence] = ()) -> CardResult:
    """Return what `shown` led to; `earlier` are cards of the same laser and surface.

    They are of the kinds that `kinds.EARLIER_KINDS` names, oldest first.

    Raise NothingToChoose, NoToneCurve, NoRegister, NoFocus, NoSpacing with a sentence.
    """
    if shown.trial is not None:
        return _trial_result(shown, shown.trial)
    if shown.card.kind == POWER:
        return _power_result(shown, earlier)
    if shown.card.kind == CHECK:
        return _strip_result(shown, earlier)
    if shown.card.kind == SPACING:
        return _asking_about_wiping(_spacing_result(shown, earlier), shown, earlier)
    return _asking_about_wiping(_RESULTS[shown.card.kind](shown), shown, earlier)


def _asking_about_wiping(
    result: CardResult, shown: CardEvidence, earlier: Sequence[CardEvidence]
) -> CardResult:
    """Return the result with a question that is to be answered before it is accepted.

    A power card and a check strip have the one about the fingernail, which loose paint fails, and
    hairlines read as well with the paint on.
    """
    if shown.reading is None or not shown.reading.patches:
        return result
    darkest = min(patch.lightness for patch in shown.reading.patches)
    known = [one.darkest_lightness for one in outcomes_of(earlier)]
    asked = list(
        about_wiping(darkest, min((one for one in known if one is not None), default=None))
    )
    sentences = [*result.table["sentences"], *asked]
    return replace(
        result,
        table={**result.table, "sentences": sentences, "is_wiping_asked": bool(asked)},
    )


def outcomes_of(cards: Sequence[CardEvidence]) -> list[Outcome]:
    """Return the outcomes of the power cards among these, each knowing what was before it."""
    outcomes: list[Outcome] = []
    for place, one in enumerate(cards):
        if one.card.kind == POWER:
            strips = _strip_cells(cards[:place])
            outcomes.append(
                choose(one.card, one.reading, one.marks, earlier=outcomes, strips=strips)
            )
    return outcomes


def _strip_cells(cards: Sequence[CardEvidence]) -> list[Cell]:
    """Return the cells of the check strips among these: a damaged glaze there is one anywhere."""
    strips = (one for one in cards if one.card.kind == CHECK)
    return [cell for one in strips for cell in judge(one.card, one.reading, one.marks)]


def power_outcome(shown: CardEvidence, earlier: Sequence[CardEvidence]) -> Outcome:
    """Return what a power card led to; raise NothingToChoose."""
    return choose(
        shown.card,
        shown.reading,
        shown.marks,
        earlier=outcomes_of(earlier),
        strips=_strip_cells(earlier),
        reserve_measured=_reserve_measured(earlier),
    )


def _reserve_measured(earlier: Sequence[CardEvidence]) -> float | None:
    """Return the reserve that the newest reserve card showed, None without one."""
    shown = [one for one in earlier if one.card.kind == CHECK and is_of_places(one.card)]
    for one in reversed(shown):
        if one.reading is not None:
            return measure_reserve(one.card, one.reading, one.marks).reserve
    return None


def _power_result(shown: CardEvidence, earlier: Sequence[CardEvidence]) -> CardResult:
    outcome = power_outcome(shown, earlier)
    card, choice, response = shown.card, outcome.choice, outcome.response
    chart = chart_of(card, outcome)
    table = {
        "cells": [asdict(cell) for cell in outcome.cells],
        "choice": asdict(choice) if choice else None,
        "sentences": outcome.sentences,
        "is_fingernail_asked": outcome.is_fingernail_asked,
        "next_range": asdict(outcome.next_range),
        "chart": asdict(chart),
    }
    summary = {
        "darkest_lightness": outcome.darkest_lightness,
        "lightness_at_recipe": _lightness_at_recipe(outcome),
    }
    if choice is None:
        return CardResult(table=table, summary=summary, recommended=None)
    summary |= {
        "feed_mm_per_min": choice.feed_mm_per_min,
        "feed_uncertainty_mm_per_min": choice.begins.doubt_mm_per_min,
        "power_ratio": choice.power_ratio,
    }
    if response is not None:
        summary |= {
            "threshold_j_per_mm2": chart.threshold_j_per_mm2,
            "saturation_j_per_mm2": chart.saturation_j_per_mm2,
        }
    recipe = card.settings | {
        "feed_mm_per_min": choice.feed_mm_per_min,
        "power_ratio": choice.power_ratio,
    }
    return CardResult(table=table, summary=summary, recommended={"recipe": recipe})


def _lightness_at_recipe(outcome: Outcome) -> float | None:
    """Return the lightness of the middle of a five-patch card, else of what is recommended.

    A faded laser leaves the middle pale, though a slower patch beside it is as dark as ever.
    """
    cells = outcome.cells
    for cell in cells if len(cells) <= FIVE else ():
        across = {one.name for one in cells if one.feed_mm_per_min == cell.feed_mm_per_min}
        along = {one.name for one in cells if one.power_ratio == cell.power_ratio}
        if len(across) > 1 and len(along) > 1 and len(across | along) == len(cells):
            return cell.lightness
    return outcome.choice.lightness_at_recipe if outcome.choice else None


def _strip_result(shown: CardEvidence, earlier: Sequence[CardEvidence]) -> CardResult:
    card = shown.card
    known = [
        (one.card.number, judge(one.card, one.reading, one.marks))
        for one in earlier
        if not is_of_places(one.card) or one.card.kind == POWER
    ]
    marked = [patch for _, cells in known for patch in marked_patches(cells)]
    reserve = None
    if is_of_places(card):
        found = measure_reserve(card, shown.reading, shown.marks, marked_before=marked)
        outcome, reserve = found.strip, found.reserve
    else:
        own = _own_cells(shown, known)
        outcome = check(
            card,
            shown.reading,
            shown.marks,
            own=own,
            marked_before=marked,
            reserve_measured=_reserve_measured(earlier),
        )
    shift = outcome.dose_shift
    table = {
        "cells": [asdict(cell) for cell in outcome.cells],
        "choice": {"cell": outcome.cell} if outcome.cell else None,
        "answer": outcome.answer.value,
        "sentences": outcome.sentences,
        "is_fingernail_asked": outcome.is_fingernail_asked,
        "chart": asdict(strip_chart(card, outcome.cells, outcome.cell)),
    }
    summary = {
        "answer": outcome.answer.value,
        "lightness_at_recipe": outcome.lightness_at_recipe,
        "lightness_shift": outcome.lightness_shift,
        "dose_shift_percent": None if shift is None else shift * 100,
        "reserve_percent": None if reserve is None else reserve * 100,
    }
    if outcome.feed_mm_per_min is None:
        return CardResult(table=table, summary=summary, recommended=None)
    summary |= {
        "feed_mm_per_min": outcome.feed_mm_per_min,
        "power_ratio": card.recipe.power_ratio,
    }
    recipe = card.settings | {"feed_mm_per_min": outcome.feed_mm_per_min}
    in_force = shown.in_force
    if outcome.answer is Answer.HOLDS and in_force and _is_recipe_of(card, in_force):
        recipe |= {name: in_force[name] for name in ("tone_curve", "halftone")}
    return CardResult(table=table, summary=summary, recommended={"recipe": recipe})


def _trial_result(shown: CardEvidence, trial: Trial) -> CardResult:
    """Return what a strip lost; it leads to no recipe, and no drift is measured by it."""
    if shown.reading is None or shown.card.kind != CHECK:
        raise UnreadableCard("a durability trial is a photo of a check strip, after it was worn")
    loss = loss_of(shown.card, trial, shown.reading)
    table = {
        "cells": [],
        "choice": None,
        "sentences": loss_sentences(trial, loss),
        "chart": asdict(strip_chart(shown.card, (), None)),
    }
    summary = {
        "trial": trial.treatment,
        "cycles": trial.cycles,
        "loss_l": loss.at_recipe_l,
        "most_loss_l": loss.most_l,
    }
    return CardResult(table=table, summary=summary, recommended=None)


def _own_cells(
    shown: CardEvidence, known: Sequence[tuple[int, tuple[Cell, ...]]]
) -> tuple[Cell, ...]:
    """Return the cells of the card that led to the recipe, else of the newest at its power."""
    power = shown.card.recipe.power_ratio
    fitting = [(number, cells) for number, cells in known if column_of(cells, power)]
    own = (shown.in_force or {}).get("card_number")
    return next(
        (cells for number, cells in fitting if number == own), fitting[-1][1] if fitting else ()
    )


def _is_recipe_of(card: Card, in_force: Mapping[str, Any]) -> bool:
    """Return whether the recipe in force is still the one that the strip was etched with."""
    ours = card.recipe.to_table()
    return all(
        in_force[name] == ours[name]
        for name in ("feed_mm_per_min", "power_ratio", "line_spacing_mm", "air_assist")
    )


def _tone_result(shown: CardEvidence) -> CardResult:
    if shown.reading is None:
        raise NoToneCurve("greys are read by camera only: take a photo of the card")
    card = shown.card
    tone = read_tone(card, shown.reading)
    solid = next(patch for patch in card.patches if patch.coverage == 1)
    read = shown.reading.of(solid.cell, solid.part)
    dot = read_dot(card, shown.reading)
    curve = {"wanted": list(tone.curve.wanted), "to_burn": list(tone.curve.to_burn)}
    table = {
        "burnt": tone.burnt,
        "effective": tone.effective,
        "black": tone.black,
        "tvi_percent": tone.tvi_percent,
        "curve": curve,
        "sentences": [found.sentence for found in (tone.over_burnt, pale_dots(card, dot)) if found],
    }
    summary = {
        "tvi_percent": tone.tvi_percent,
        "black": tone.black,
        "lightness_at_recipe": read.lightness if read else None,
    }
    recipe = card.settings | {"tone_curve": curve | {"dot": dot.to_table()}}
    return CardResult(table=table, summary=summary, recommended={"recipe": recipe})


def _register_result(shown: CardEvidence) -> CardResult:
    if shown.meets:
        found = register_by_eye(shown.card, shown.meets)
    elif shown.reading is not None:
        found = register_by_camera(shown.reading)
    else:
        raise UnreadableCard("say which pairs are one line, or take a photo of the card")
    register = found.register.to_table()
    table = {"at_speeds": [asdict(apart) for apart in found.at_speeds], "register": register}
    summary = {
        "beam_lag_s": found.register.beam_lag_s,
        "slack_mm": found.register.slack_mm,
    }
    return CardResult(table=table, summary=summary, recommended={"register": register})


def _focus_result(shown: CardEvidence) -> CardResult:
    if shown.reading is None:
        raise NoFocus("a focus card is read by camera only: take a photo of it")
    found = read_focus(shown.card, shown.reading, is_turned_round=shown.is_wedge_turned)
    table = asdict(found) | {"sentences": focus_sentences(found)}
    summary = {
        "best_focus_mm": found.best_mm,
        "best_focus_doubt_mm": found.doubt_mm,
        "in_focus_mm": found.high_mm - found.low_mm,
        "bed_place": found.bed_place,
    }
    if not found.is_spot_sure:
        return CardResult(table=table, summary=summary, recommended=None)
    spot = MeasuredSpot(
        spot_x_mm=max(HUNDREDTH_MM, round(found.along.spot_mm, 2)),
        spot_y_mm=max(HUNDREDTH_MM, round(found.across.spot_mm, 2)),
        give_or_take_mm=round(max(found.along.spot_doubt_mm, found.across.spot_doubt_mm), 3),
    ).to_table()
    return CardResult(table=table, summary=summary | spot, recommended={"spot": spot})


def _spacing_result(shown: CardEvidence, earlier: Sequence[CardEvidence]) -> CardResult:
    if shown.reading is None:
        raise NoSpacing("a spacing card is read by camera only: take a photo of it")
    cells_before = [cell for one in outcomes_of(earlier) for cell in one.cells]
    before = marked_patches([*cells_before, *_strip_cells(earlier)])
    found = read_spacing(shown.card, shown.reading, shown.marks, before)
    best = found.best
    is_changed = best != found.at_recipe
    recipe = shown.card.settings | {
        "feed_mm_per_min": best.kept_feed_mm_per_min,
        "line_spacing_mm": best.spacing_mm,
    }
    return CardResult(
        table=asdict(found)
        | {
            "sentences": spacing_sentences(found),
            "choice": {"cell": best.cell},
            "is_fingernail_asked": is_changed and best.mark is None,
        },
        summary={"coarsest_spacing_mm": found.coarsest.spacing_mm},
        recommended={"recipe": recipe} if is_changed else None,
    )


_RESULTS: Final[Mapping[str, Callable[[CardEvidence], CardResult]]] = {
    TONE: _tone_result,
    REGISTER: _register_result,
    FOCUS: _focus_result,
}
