"""The logbook's history, as the daemon answers it, leads to the rules' sentences."""

from dataclasses import replace

import pytest
from msgspec import structs

from etchproof.drift.advice import NO_RECIPE, advice_on
from etchweb.logbook.verdict_presenter import CAUSES
from etchwire.calls.catalogue import HeadEntry, RecipeEntry, SurfaceEntry
from etchwire.calls.time_line import LateReading, LateRun, LateVerdict, PairHistory
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.records import VERDICTS, Surface

SURFACE = Surface(name="an invented tile", tile="15 cm", batch="3", paint="white", can="2")
HEAD = HeadEntry(
    name="the invented head",
    head=PRACTICE_HEADS["practice-20w"],
    notes="",
    is_practice=False,
    who="",
    changed_at_utc="2026-11-24T09:00:00Z",
    beam_s=7200.0,
    lens_wiped_at_utc=None,
    spot_found=None,
    beam_since_wipe_s=3600.0,
)
RECIPE = RecipeEntry(
    id=1,
    head="the invented head",
    surface="an invented tile",
    found_on=SURFACE,
    feed_mm_per_min=3000.0,
    power_ratio=0.5,
    line_spacing_mm=0.1,
    halftone="",
    tone_curve=None,
    origin="hand",
    reading_id=None,
    card_number=None,
    at_utc="2026-11-24T09:00:00Z",
    who="",
    software="",
    retired_at_utc=None,
    is_in_force=True,
    air_assist=False,
)


def laid_on(surface):
    return SurfaceEntry(
        name=surface.name,
        surface=surface,
        is_practice=False,
        who="",
        changed_at_utc="2026-11-24T09:00:00Z",
    )


def ran(asked_mm_per_min, run_mm_per_min):
    return LateRun(id=1, feed_asked_mm_per_min=asked_mm_per_min, feed_run_mm_per_min=run_mm_per_min)


def judged(*verdicts):
    return tuple(LateVerdict(run_id=run, verdict=word) for run, word in enumerate(verdicts))


def showed(*lightness):
    return tuple(
        LateReading(id=1, at_utc="2026-11-24T09:00:00Z", summary={"lightness_at_recipe": it})
        for it in lightness
    )


FINE = PairHistory(
    head=HEAD,
    surface=laid_on(SURFACE),
    recipe=RECIPE,
    beam_h_since_card=1.0,
    runs=(ran(3000.0, 2990.0),),
    verdicts=judged("good"),
    readings=showed(30.0),
)


def history(**changes):
    return structs.replace(FINE, **changes)


def test_a_recipe_that_holds_needs_no_test():
    assert advice_on(history()) == ()


@pytest.mark.parametrize("missing", ["recipe", "head", "surface"])
def test_without_a_recipe_the_first_test_tile_is_asked_for(missing):
    assert advice_on(history(**{missing: None})) == (NO_RECIPE,)


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"surface": laid_on(replace(SURFACE, batch="4"))}, "new tiles"),
        ({"surface": laid_on(replace(SURFACE, paint="grey"))}, "new paint"),
        ({"surface": laid_on(replace(SURFACE, can="3"))}, "new can"),
        ({"surface": laid_on(replace(SURFACE, coating="roller"))}, "new coating"),
        ({"beam_h_since_card": 41.0}, "beam hours since the last card"),
        (
            {"head": structs.replace(HEAD, beam_since_wipe_s=9 * 3600.0)},
            "beam hours since the lens was wiped",
        ),
        (
            {"runs": (ran(4000.0, 3175.0),)},
            "slower than the recipe",
        ),
        ({"verdicts": judged("pale", "pale")}, "pale again"),
        (
            {"readings": showed(30.0, 30.5, 40.0)},
            "reading away from the recipe's own",
        ),
    ],
)
def test_each_change_is_told(changes, rule):
    assert [due.rule for due in advice_on(history(**changes))] == [rule]


@pytest.mark.parametrize(
    "entry", [{"solvent": "thinner"}, {"cloth": "pad"}, {"wait_min": 60.0}, {"wiping": "hard"}]
)
def test_wiping_in_another_way_asks_for_a_check_strip(entry):
    found_on = replace(SURFACE, solvent="water", cloth="cotton", wait_min=10.0, wiping="lightly")
    recipe = structs.replace(RECIPE, found_on=found_on)

    (due,) = advice_on(history(recipe=recipe, surface=laid_on(replace(found_on, **entry))))

    assert due.rule == "wiped in another way"
    assert "check strip" in due.advice


def test_wiping_that_nobody_had_described_is_no_change():
    assert advice_on(history(surface=laid_on(replace(SURFACE, solvent="water")))) == ()


@pytest.mark.parametrize("cause", ["", *CAUSES, "Fan stopped "])
def test_causes_in_laser_paint_or_focus_count_and_no_others(cause):
    twice = tuple(LateVerdict(run_id=run, verdict="pale", cause=cause) for run in (1, 2))

    is_due = [due.rule for due in advice_on(history(verdicts=twice))] == ["pale again"]

    none_due = ("tile moved", "fan stopped", "held too long", "belt slack")
    assert is_due is (cause.strip().lower() not in none_due)


@pytest.mark.parametrize("word", ["doubled", "shifted", "banded"])
def test_a_slack_belt_counts_where_rows_do_not_lie_as_they_should(word):
    twice = tuple(LateVerdict(run_id=run, verdict=word, cause="belt slack") for run in (1, 2))

    assert [due.rule for due in advice_on(history(verdicts=twice))] == [f"{word} again"]


@pytest.mark.parametrize("word", VERDICTS)
def test_verdicts_of_tile_coat_and_people_ask_for_no_test(word):
    due = advice_on(history(verdicts=judged(word, word)))

    none_due = {
        "good", "broken", "cracked or chipped", "fault in the coat", "our mistake",
    }  # fmt: skip
    assert bool(due) is (word not in none_due)


def test_a_run_whose_speed_nobody_saw_counts_for_nothing():
    assert advice_on(history(runs=(ran(4000.0, None),))) == ()
