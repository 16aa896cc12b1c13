"""The logbook's history, as the daemon answers it, leads to the rules' sentences."""

from copy import deepcopy

import pytest

from etchproof.drift.advice import NO_RECIPE, advice_on
from etchwire.catalogue_records import Surface

SURFACE = Surface(
    name="an invented tile", tile="15 cm", batch="3", paint="white", can="2"
).to_table()
FINE = {
    "head": {"name": "the invented head", "beam_s": 7200.0, "beam_since_wipe_s": 3600.0},
    "surface": {"name": "an invented tile", "surface": SURFACE},
    "recipe": {"found_on": SURFACE, "air_assist": False},
    "beam_h_since_card": 1.0,
    "runs": [{"feed_asked_mm_per_min": 3000.0, "feed_run_mm_per_min": 2990.0}],
    "verdicts": [{"run_id": 1, "verdict": "good"}],
    "readings": [{"summary": {"lightness_at_recipe": 30.0}}],
}


def history(**changes):
    return deepcopy(FINE) | changes


def test_a_recipe_that_holds_needs_no_test():
    assert advice_on(history()) == ()


@pytest.mark.parametrize("missing", ["recipe", "head", "surface"])
def test_without_a_recipe_the_first_test_tile_is_asked_for(missing):
    assert advice_on(history(**{missing: None})) == (NO_RECIPE,)


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"surface": {"surface": SURFACE | {"batch": "4"}}}, "new tiles"),
        ({"surface": {"surface": SURFACE | {"can": "3"}}}, "new paint"),
        ({"surface": {"surface": SURFACE | {"coating": "roller"}}}, "new coating"),
        ({"beam_h_since_card": 41.0}, "beam hours since the last card"),
        ({"head": {"beam_since_wipe_s": 9 * 3600.0}}, "beam hours since the lens was wiped"),
        (
            {"runs": [{"feed_asked_mm_per_min": 4000.0, "feed_run_mm_per_min": 3175.0}]},
            "slower than the recipe",
        ),
        ({"verdicts": [{"verdict": "pale"}, {"verdict": "pale"}]}, "bad in the same way again"),
        (
            {"readings": [{"summary": {"lightness_at_recipe": it}} for it in (30.0, 30.5, 40.0)]},
            "reading outside its spread",
        ),
    ],
)
def test_each_change_is_told(changes, rule):
    assert [due.rule for due in advice_on(history(**changes))] == [rule]


def test_a_run_whose_speed_nobody_saw_counts_for_nothing():
    unseen = [{"feed_asked_mm_per_min": 4000.0, "feed_run_mm_per_min": None}]

    assert advice_on(history(runs=unseen)) == ()
