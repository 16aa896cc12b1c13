"""The next card: where to look after the first one."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from etchproof.card import Card
from etchproof.choosing.judging import Cell, Judgement
from etchproof.choosing.marked_patches import MarkedPatch, Setting
from etchproof.layout.ranges import LEAST_POWER_RATIO, Range, power_law
from etchproof.reading.hand_marks import Mark
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, SECONDS_PER_MINUTE

SECOND_STEPS: Final = (7, 5)  # speeds and powers of a finer card
LEAST_STEP: Final = 1.1  # each way; closer settings cannot be told apart
LEAST_POWER_STEP: Final = 1.08
LEAST_EXPONENT: Final = 1.0  # twice the power does twice the speed at least; scatter may fit less
FASTEST_PROPOSED_MM_PER_MIN: Final = 9990.0  # five digits, and nobody's settings are known
FULL_POWER: Final = 0.995  # nearer to all of it is all of it


def finer_range(
    card: Card,
    chosen: Cell,
    reach_mm_per_min: float,
    exponent: float,
    *,
    most_dose_j_per_mm2: float,
) -> Range:
    """Return one step of `card` round the fastest setting that should be as dark as `chosen`.

    Along equal darkness speed goes with power^exponent, so the chosen patch is moved up to the
    laser's full power or to what a photo can reach, whichever comes first.
    """
    reach_mm_per_min = min(reach_mm_per_min, FASTEST_PROPOSED_MM_PER_MIN)
    exponent = max(exponent, LEAST_EXPONENT)
    step = max(LEAST_STEP, _step([patch.feed_mm_per_min for patch in card.patches]))
    at_full_power = chosen.feed_mm_per_min * (1 / chosen.power_ratio) ** exponent
    feed = min(reach_mm_per_min, at_full_power)
    power = min(1.0, chosen.power_ratio * (feed / chosen.feed_mm_per_min) ** (1 / exponent))
    power_step = max(LEAST_POWER_STEP, step ** (1 / exponent))
    notes = []
    if feed > chosen.feed_mm_per_min * 1.05:
        notes.append(
            f"{feed:.0f} mm/min with {power * 100:.0f} % should be as dark as the patch chosen, "
            "and faster: the next card looks there."
        )
    wanted = Range(
        low_feed_mm_per_min=feed / step,
        high_feed_mm_per_min=min(reach_mm_per_min, feed * step),
        low_power_ratio=max(LEAST_POWER_RATIO, power / power_step),
        high_power_ratio=min(1.0, power * power_step),
        notes=tuple(notes),
    )
    return kept_below(wanted, card, most_dose_j_per_mm2)


def kept_below(wanted: Range, card: Card, most_j_per_mm2: float) -> Range:
    """Return `wanted` without what would exceed a dose: slow speeds go, or else high powers.

    Laser and line spacing are those of `card`.
    """
    fitting = within_dose(wanted, card, most_j_per_mm2)
    if fitting is not None:
        return fitting
    most_w = most_j_per_mm2 * wanted.low_feed_mm_per_min * card.spacing_mm / SECONDS_PER_MINUTE
    high = max(LEAST_POWER_RATIO * LEAST_POWER_STEP, most_w / card.head.rated_optical_w)
    if high >= wanted.high_power_ratio * (1 - 1e-9):
        return wanted
    low = max(LEAST_POWER_RATIO, wanted.low_power_ratio * high / wanted.high_power_ratio)
    return replace(wanted, low_power_ratio=low, high_power_ratio=high)


def within_dose(wanted: Range, card: Card, most_j_per_mm2: float) -> Range | None:
    """Return `wanted` without the speeds at which its full power would exceed a dose.

    None where hardly any speed would be left. Laser and line spacing are those of `card`.
    """
    power_w = card.head.rated_optical_w * wanted.high_power_ratio
    fastest_too_much = power_w * SECONDS_PER_MINUTE / (most_j_per_mm2 * card.spacing_mm)
    if fastest_too_much * LEAST_STEP > wanted.high_feed_mm_per_min:
        return None
    low = max(wanted.low_feed_mm_per_min, fastest_too_much)
    return replace(wanted, low_feed_mm_per_min=low)


def most_dose(cells: Sequence[Cell], rated_optical_w: float) -> float:
    """Return the dose in J/mm² that no further card should exceed.

    It is the least that burnt a patch too far or damaged its glaze, and never more than any
    surface needs.
    """
    too_much = (Judgement.BURNT_TOO_FAR, Judgement.GLAZE_DAMAGED)
    doses = [cell.dose_j_per_mm2(rated_optical_w) for cell in cells if cell.judgement in too_much]
    return min([MOST_DOSE_J_PER_MM2, *doses])


def stronger_range(covered: Range) -> Range:
    """Return where to look when nothing was dark enough: more power first, then less speed."""
    if covered.high_power_ratio < FULL_POWER:
        return replace(
            covered, low_power_ratio=covered.high_power_ratio, high_power_ratio=1.0, notes=()
        )
    low, high = covered.low_feed_mm_per_min, covered.high_feed_mm_per_min
    return replace(
        covered,
        low_feed_mm_per_min=low * low / high,
        high_feed_mm_per_min=low,
        low_power_ratio=min(covered.low_power_ratio, 0.5),
        high_power_ratio=1.0,
        notes=(),
    )


def weaker_range(covered: Range) -> Range:
    """Return where to look when everything dark was damaged or blotchy: as fast, less power."""
    share = covered.low_power_ratio / covered.high_power_ratio
    return replace(
        covered,
        low_power_ratio=max(LEAST_POWER_RATIO, covered.low_power_ratio * share),
        high_power_ratio=covered.low_power_ratio,
        notes=(),
    )


def between_marks(marked: Sequence[MarkedPatch]) -> Range | None:
    """Return the settings between what rubs off and what is damaged; None where one is missing.

    Of all pairs it takes those nearest to each other; between equal speeds or powers it keeps a
    step of its own.
    """
    weak = [patch.setting for patch in marked if patch.mark is Mark.RUBS_OFF]
    strong = [patch.setting for patch in marked if patch.mark is Mark.GLAZE_DAMAGED]
    if not weak or not strong:
        return None
    pairs = [(low, high) for low in weak for high in strong]
    low, high = min(pairs, key=lambda pair: _apart(*pair))
    feeds = sorted((low.feed_mm_per_min, high.feed_mm_per_min))
    powers = sorted((low.power_ratio, high.power_ratio))
    if feeds[0] == feeds[1]:
        feeds = [feeds[0] / LEAST_STEP, feeds[1] * LEAST_STEP]
    if powers[0] == powers[1]:
        powers = [powers[0] / LEAST_POWER_STEP, min(1.0, powers[1] * LEAST_POWER_STEP)]
    return Range(
        low_feed_mm_per_min=feeds[0],
        high_feed_mm_per_min=feeds[1],
        low_power_ratio=powers[0],
        high_power_ratio=powers[1],
    )


def _apart(one: Setting, other: Setting) -> float:
    """Return how far two settings lie apart, as the logarithm of the factors between them."""
    return abs(math.log(one.feed_mm_per_min / other.feed_mm_per_min)) + usual_exponent() * abs(
        math.log(one.power_ratio / other.power_ratio)
    )


def covered_range(card: Card) -> Range:
    """Return what `card` covers."""
    feeds = [patch.feed_mm_per_min for patch in card.patches]
    powers = [patch.power_ratio for patch in card.patches]
    return Range(
        low_feed_mm_per_min=min(feeds),
        high_feed_mm_per_min=max(feeds),
        low_power_ratio=min(powers),
        high_power_ratio=max(powers),
    )


def usual_exponent() -> float:
    """Return how speed goes with power where no card has shown it."""
    return power_law()[1]


def _step(feeds: list[float]) -> float:
    """Return the usual proportion between neighbouring speeds."""
    steps = sorted(set(feeds))
    return float((steps[-1] / steps[0]) ** (1 / (len(steps) - 1)))
