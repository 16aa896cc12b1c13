"""Drift: when a recipe should be tested again, as rules over what is known of it.

The limits are our choice and have no source; each is a column of the table.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import fmean, stdev
from typing import Final

from etchproof.card import REALLY_RUN

GOOD: Final = "good"


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What a recipe was found with, or what is about to be etched with."""

    tile_batch: str
    paint: str
    coating: str
    air_assist: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What is known of one recipe on one head and surface, each series from old to new.

    `lightness_at_recipe` are readings of patches burnt with the recipe; `run_shares` are speeds
    really run over those asked for; `verdicts` are words, of which "good" is the good one.
    """

    found_with: Circumstances
    now: Circumstances
    beam_hours_since_card: float
    beam_hours_since_lens_wiped: float | None
    lightness_at_recipe: Sequence[float] = ()
    run_shares: Sequence[float] = ()
    verdicts: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftRule:
    """One reason to test again: a limit, what exceeds it, and what the person is told."""

    name: str
    limit: float | None
    is_due: Callable[[History, float], bool]
    advice: str


def _differs(what: str) -> Callable[[History, float], bool]:
    return lambda history, _: getattr(history.found_with, what) != getattr(history.now, what)


def _is_off_its_spread(history: History, least_l: float) -> bool:
    """Return whether the newest reading is outside twice the spread of those before it."""
    *before, newest = history.lightness_at_recipe or (0.0,)
    if not before:
        return False
    spread = 2 * stdev(before) if len(before) > 1 else 0.0
    return abs(newest - fmean(before)) > max(least_l, spread)


def _is_slow(history: History, least_share: float) -> bool:
    return bool(history.run_shares) and history.run_shares[-1] < least_share


def _is_bad_again(history: History, times: float) -> bool:
    """Return whether the newest verdicts are that many of one bad kind in a row."""
    runs = [(word, len(list(group))) for word, group in groupby(history.verdicts)]
    return bool(runs) and runs[-1][0] != GOOD and runs[-1][1] >= times


RULES: Final = (
    DriftRule(
        name="new tiles",
        limit=None,
        is_due=_differs("tile_batch"),
        advice="The tiles are of another batch than those of the recipe: etch a five-patch card.",
    ),
    DriftRule(
        name="new paint",
        limit=None,
        is_due=_differs("paint"),
        advice="The paint is another than the recipe was found with: etch a power card.",
    ),
    DriftRule(
        name="new coating",
        limit=None,
        is_due=_differs("coating"),
        advice="The paint was put on in another way than for the recipe: etch a five-patch card.",
    ),
    DriftRule(
        name="air assist changed",
        limit=None,
        is_due=_differs("air_assist"),
        advice="Air assist was switched since the recipe was found: etch a five-patch card.",
    ),
    DriftRule(
        name="beam hours since the last card",
        limit=40.0,
        is_due=lambda history, limit: history.beam_hours_since_card > limit,
        advice="The laser has burnt for more than {limit:g} hours since the last card: etch a "
        "five-patch card, for diodes fade.",
    ),
    DriftRule(
        name="beam hours since the lens was wiped",
        limit=8.0,
        is_due=lambda history, limit: (
            history.beam_hours_since_lens_wiped is not None
            and history.beam_hours_since_lens_wiped > limit
        ),
        advice="The laser has burnt for more than {limit:g} hours since its lens was wiped: wipe "
        "it, then etch a five-patch card.",
    ),
    DriftRule(
        name="reading outside its spread",
        limit=3.0,
        is_due=_is_off_its_spread,
        advice="The last test patch was lighter or darker than those before it: wipe the lens, "
        "check the focus, and etch a five-patch card.",
    ),
    DriftRule(
        name="slower than the recipe",
        limit=REALLY_RUN,
        is_due=_is_slow,
        advice="The last etch ran slower than the recipe by more than 5 %: look at the record, "
        "then test with a speed that this picture can run.",
    ),
    DriftRule(
        name="bad in the same way again",
        limit=2.0,
        is_due=_is_bad_again,
        advice="The last {limit:g} tiles came out bad in the same way: etch a five-patch card "
        "before the next one.",
    ),
)


@dataclass(frozen=True, slots=True)
class DueTest:
    """A rule that is due, and the sentence for the person."""

    rule: str
    advice: str


def reasons_to_test(history: History, rules: Sequence[DriftRule] = RULES) -> tuple[DueTest, ...]:
    """Return every reason to etch a card again, in table order; none when the recipe holds."""
    return tuple(
        DueTest(rule.name, rule.advice.format(limit=rule.limit))
        for rule in rules
        if rule.is_due(history, rule.limit or 0.0)
    )
