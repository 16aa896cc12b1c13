"""Drift: when a recipe should be tested again, as rules over what is known of it.

The limits are our choice and have no source; each is a column of the table.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import fsum
from typing import Final

from etchproof.card import REALLY_RUN

GOOD: Final = "good"
TREND_CARDS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What a recipe was found with, or what is about to be etched with."""

    tile_batch: str
    paint: str
    coating: str
    air_assist: bool
    can: str = ""
    lot: str = ""
    wiping: tuple[str, ...] = ()  # solvent, cloth, waiting, how hard; empty where nobody said


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What is known of one recipe on one head and surface, each series from old to new.

    `lightness_at_recipe` are readings of patches burnt with the recipe, the first the one that led
    to it; `run_shares` are speeds
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


def _is_wiped_otherwise(history: History, _: float) -> bool:
    """Return whether anything that was said of the wiping is said otherwise now."""
    pairs = zip(history.found_with.wiping, history.now.wiping, strict=False)
    return any(then and then != now for then, now in pairs)


def _is_away_from_the_recipe_s_own(history: History, most_l: float) -> bool:
    """Return whether the newest reading differs from the first, which led to the recipe."""
    lightness = history.lightness_at_recipe
    return len(lightness) > 1 and abs(lightness[-1] - lightness[0]) > most_l


def _is_fading(history: History, most_l_per_card: float) -> bool:
    """Return whether the last three readings are each lighter than the one before, steadily."""
    lately = history.lightness_at_recipe[-TREND_CARDS:]
    if len(lately) < TREND_CARDS:
        return False
    steps = [newer - older for older, newer in pairwise(lately)]
    return min(steps) > most_l_per_card / 2 and fsum(steps) / len(steps) > most_l_per_card


def _is_slow(history: History, least_share: float) -> bool:
    return bool(history.run_shares) and history.run_shares[-1] < least_share


def _is_again(word: str) -> Callable[[History, float], bool]:
    """Return whether the newest verdicts are that word, so many times in a row.

    Verdicts that say nothing of laser, paint or focus are passed over.
    """

    def is_due(history: History, times: float) -> bool:
        heard = [said for said in history.verdicts if said == GOOD or said in ADVICE_BY_VERDICT]
        lately = heard[-int(times) :]
        return len(lately) == times and all(said == word for said in lately)

    return is_due


_MECHANICS: Final = (
    "no card helps. With the machine switched off, check that belts are tight and their pulleys' "
    "set screws hold, that nothing rubs or catches along the way, that cables do not pull, and "
    "that neither laser nor tile can move"
)
_COAT: Final = (
    "that is the coat: shake or stir the paint, spray from an even distance in thin coats and let "
    "each dry, then coat a tile anew"
)

# What is bad in the same way again has a cause of its own (common practice, no source). Other
# verdicts (cracked or chipped, fault in the coat, our mistake, broken) say nothing of laser, paint
# or focus, and neither does any verdict that one of these causes had: no test would tell more.
CAUSES_ELSEWHERE: Final = ("tile moved", "fan stopped", "held too long")
MECHANICAL_CAUSES: Final = ("belt slack",)  # which say as little of a tile that came out pale
MECHANICAL_VERDICTS: Final = ("doubled", "shifted", "banded")
ADVICE_BY_VERDICT: Final[Mapping[str, str]] = {
    "pale": "wipe the lens, check the focus, and etch a five-patch card before the next tile",
    "rubbed off": "that is too little dose: etch a five-patch card before the next tile",
    "glaze damaged": "that is too much dose: etch a five-patch card before the next tile",
    "doubled": "rows to the left do not meet those to the right: etch a register card",
    "shifted": _MECHANICS,
    "banded": _MECHANICS,
    "patchy": _COAT,
}

RULES: Final = (
    DriftRule(
        name="new tiles",
        limit=None,
        is_due=_differs("tile_batch"),
        advice="These tiles are from a different batch than the recipe’s: etch a check strip.",
    ),
    DriftRule(
        name="new paint",
        limit=None,
        is_due=_differs("paint"),
        advice="This is not the paint that the recipe was found with: etch a power card.",
    ),
    DriftRule(
        name="new can",
        limit=None,
        is_due=lambda history, _: (
            history.found_with.paint == history.now.paint
            and history.found_with.can != history.now.can
        ),
        advice="This is a different can of paint than the recipe was found with: etch a check "
        "strip.",
    ),
    DriftRule(
        name="new coating",
        limit=None,
        is_due=_differs("coating"),
        advice="The paint was put on differently than for the recipe: etch a check strip.",
    ),
    DriftRule(
        name="new lot",
        limit=None,
        is_due=lambda history, _: (
            history.found_with.lot != history.now.lot
            and replace(history.found_with, lot="") == replace(history.now, lot="")
        ),
        advice="These tiles are from a different painting lot than the recipe’s: etch a check "
        "strip.",
    ),
    DriftRule(
        name="wiped in another way",
        limit=None,
        is_due=_is_wiped_otherwise,
        advice="Tiles are wiped differently than for the recipe (solvent, cloth, waiting or how "
        "hard): etch a check strip.",
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
        "five-patch card, because diodes fade.",
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
        name="reading away from the recipe's own",
        limit=3.0,
        is_due=_is_away_from_the_recipe_s_own,
        advice="The last test card is more than {limit:g} points of lightness away from what the "
        "recipe was found with: wipe the lens, check the focus, and etch a five-patch card.",
    ),
    DriftRule(
        name="fading card by card",
        limit=1.5,
        is_due=_is_fading,
        advice="Each of the last three test cards came out lighter than the one before, by more "
        "than {limit:g} points of lightness a card: wipe the lens and check the focus; if it goes "
        "on, the diode is fading, and a new power card finds what it can still do.",
    ),
    DriftRule(
        name="slower than the recipe",
        limit=REALLY_RUN,
        is_due=_is_slow,
        advice="The last etch ran slower than the recipe by more than 5 %: look at the record, "
        "then test with a speed that this picture can run.",
    ),
    *(
        DriftRule(
            name=f"{word} again",
            limit=2.0,
            is_due=_is_again(word),
            advice=f"The last {{limit:g}} tiles came out “{word}”: {advice}.",
        )
        for word, advice in ADVICE_BY_VERDICT.items()
    ),
)


def counts(verdict: str, cause: str) -> bool:
    """Return whether a verdict with that cause says anything of laser, paint, focus or mechanics.

    A cause in the mechanics counts only where mechanics show. By command it is typed by hand.
    """
    cause = cause.strip().lower()
    if cause in MECHANICAL_CAUSES:
        return verdict in MECHANICAL_VERDICTS
    return cause not in CAUSES_ELSEWHERE


@dataclass(frozen=True, slots=True)
class DueTest:
    """A rule that is due, and the sentence for the person."""

    rule: str
    advice: str


def reasons_to_test(history: History) -> tuple[DueTest, ...]:
    """Return every reason to etch a card again, in table order; none when the recipe holds."""
    return tuple(
        DueTest(rule.name, rule.advice.format(limit=rule.limit))
        for rule in RULES
        if rule.is_due(history, rule.limit or 0.0)
    )
