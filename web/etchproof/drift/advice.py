"""When to test again, told from the logbook's history; without numpy, for the page."""

from collections.abc import Sequence
from typing import Final

from etchproof.drift.rules import (
    Circumstances,
    DueTest,
    History,
    counts,
    reasons_to_test,
)
from etchwire.calls.time_line import LateRun, PairHistory
from etchwire.catalogue.records import Surface

NO_RECIPE: Final = DueTest(
    "no recipe", "There is no recipe for this laser on this tile and paint: etch a power card."
)
_SECONDS_PER_HOUR: Final = 3600.0


def advice_on(history: PairHistory, *, air_assist: bool | None = None) -> tuple[DueTest, ...]:
    """Return every reason to test, from the daemon's answer to `history`; none when all is well.

    `air_assist` is how it will be; left out, as the recipe has it. What a recipe was found with is
    kept beside it, because the next box of tiles is written over the last one.
    """
    recipe, head, surface = history.recipe, history.head, history.surface
    if recipe is None or head is None or surface is None:
        return (NO_RECIPE,)
    since_wipe_s = head.beam_since_wipe_s
    known = History(
        found_with=_circumstances(recipe.found_on, is_air_assist=recipe.air_assist),
        now=_circumstances(
            surface.surface,
            is_air_assist=recipe.air_assist if air_assist is None else air_assist,
        ),
        beam_hours_since_card=history.beam_h_since_card,
        beam_hours_since_lens_wiped=(
            None if since_wipe_s is None else since_wipe_s / _SECONDS_PER_HOUR
        ),
        lightness_at_recipe=[
            reading.summary["lightness_at_recipe"] for reading in history.readings
        ],
        run_shares=_run_shares(history.runs),
        verdicts=[one.verdict for one in history.verdicts if counts(one.verdict, one.cause)],
    )
    return reasons_to_test(known)


def _circumstances(surface: Surface, *, is_air_assist: bool) -> Circumstances:
    return Circumstances(
        tile_batch=f"{surface.tile}, {surface.batch}",
        paint=surface.paint,
        can=surface.can,
        coating=f"{surface.coating}, {surface.coats}",
        air_assist=is_air_assist,
        lot=surface.lot,
        wiping=(
            surface.solvent,
            surface.cloth,
            f"{surface.wait_min:g}" if surface.wait_min else "",
            surface.wiping,
        ),
    )


def _run_shares(runs: Sequence[LateRun]) -> list[float]:
    return [
        run.feed_run_mm_per_min / run.feed_asked_mm_per_min
        for run in runs
        if run.feed_run_mm_per_min
    ]
