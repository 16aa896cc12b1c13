"""When to test again: every rule when it is due, and at its limit when it is not."""

from dataclasses import replace

import numpy as np
import pytest

from etchproof.drift.rules import ADVICE_BY_VERDICT, RULES, Circumstances, History, reasons_to_test

SAME = Circumstances(
    tile_batch="box 3",
    paint="white",
    can="can 2",
    coating="two coats by airbrush",
    air_assist=False,
    wiping=("water", "cotton", "10", ""),
)
FINE = History(
    found_with=SAME,
    now=SAME,
    beam_hours_since_card=3.0,
    beam_hours_since_lens_wiped=2.0,
    lightness_at_recipe=(30.0, 31.0, 30.5),
    run_shares=(1.0, 0.99),
    verdicts=("good", "pale", "good"),
)

DUE = {
    "new tiles": {"now": replace(SAME, tile_batch="box 4")},
    "new paint": {"now": replace(SAME, paint="grey", can="can 3")},
    "new can": {"now": replace(SAME, can="can 3")},
    "new lot": {"now": replace(SAME, lot="lot 7")},
    "wiped in another way": {"now": replace(SAME, wiping=("water", "cotton", "60", ""))},
    "new coating": {"now": replace(SAME, coating="roller")},
    "air assist changed": {"now": replace(SAME, air_assist=True)},
    "beam hours since the last card": {"beam_hours_since_card": 40.1},
    "beam hours since the lens was wiped": {"beam_hours_since_lens_wiped": 8.1},
    "reading away from the recipe's own": {"lightness_at_recipe": (30.0, 33.5, 33.1)},
    "fading card by card": {"lightness_at_recipe": (30.0, 29.0, 30.6, 32.1)},
    "slower than the recipe": {"run_shares": (1.0, 0.949)},
    **{f"{word} again": {"verdicts": ("good", word, word)} for word in ADVICE_BY_VERDICT},
}
NOT_YET = {
    "beam hours since the last card": {"beam_hours_since_card": 40.0},
    "beam hours since the lens was wiped": {"beam_hours_since_lens_wiped": 8.0},
    "a lens nobody noted": {"beam_hours_since_lens_wiped": None},
    "a reading inside three points": {"lightness_at_recipe": (30.0, 31.0, 33.0)},
    "lighter by a point and a half a card": {"lightness_at_recipe": (30.0, 31.0, 33.0)},
    "lighter in all but not each time": {"lightness_at_recipe": (30.0, 29.0, 32.9)},
    "darker and darker by less than three": {"lightness_at_recipe": (30.0, 28.5, 27.0)},
    "a first reading": {"lightness_at_recipe": (80.0,)},
    "no reading": {"lightness_at_recipe": ()},
    "a twentieth slower": {"run_shares": (0.95,)},
    "slow before, not now": {"run_shares": (0.5, 1.0)},
    "no run": {"run_shares": ()},
    "two bad ones of different kinds": {"verdicts": ("pale", "banded")},
    "two cracked": {"verdicts": ("cracked or chipped", "cracked or chipped")},
    "two mistakes of ours": {"verdicts": ("our mistake", "our mistake")},
    "two faults in the coat": {"verdicts": ("fault in the coat", "fault in the coat")},
    "wiping that was said for the first time": {
        "now": replace(SAME, wiping=("water", "cotton", "10", "hard"))
    },
    "two broken": {"verdicts": ("broken", "broken")},
    "two bad ones, then a good one": {"verdicts": ("pale", "pale", "good")},
    "two good ones": {"verdicts": ("good", "good")},
    "no verdict": {"verdicts": ()},
}


def test_a_recipe_that_holds_gives_no_reason():
    assert reasons_to_test(FINE) == ()


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_every_rule_is_due_when_its_limit_is_passed_and_no_other_is(rule):
    due = reasons_to_test(replace(FINE, **DUE[rule.name]))

    assert [reason.rule for reason in due] == [rule.name]
    assert "{" not in due[0].advice


@pytest.mark.parametrize("name", NOT_YET)
def test_at_its_limit_a_rule_is_not_due_yet(name):
    assert reasons_to_test(replace(FINE, **NOT_YET[name])) == ()


def test_reasons_come_in_the_table_s_order():
    worn = replace(FINE, now=replace(SAME, air_assist=True), verdicts=("doubled", "doubled"))

    due = reasons_to_test(worn)

    assert [reason.rule for reason in due] == ["air assist changed", "doubled again"]


def test_a_steady_fade_of_two_points_a_card_is_told_by_the_third():
    readings = (30.0, 32.0, 34.0)

    told = [reason.rule for reason in reasons_to_test(replace(FINE, lightness_at_recipe=readings))]

    assert "fading card by card" in told


@pytest.mark.parametrize("seed", range(3))
def test_a_steady_fade_is_told_by_the_third_card_through_the_reading_s_own_noise(seed):
    """Three cards after the recipe's own; noise of 0.003 in reflectance is 0.7 L* at L* 30."""
    chance = np.random.default_rng(seed)
    told = [
        bool(reasons_to_test(replace(FINE, lightness_at_recipe=tuple(readings))))
        for readings in 30 + 2 * np.arange(4) + chance.normal(0, 0.7, (300, 4))
    ]
    calm = [
        bool(reasons_to_test(replace(FINE, lightness_at_recipe=tuple(readings))))
        for readings in 30 + chance.normal(0, 0.7, (300, 4))
    ]

    assert np.mean(told) > 0.99
    assert np.mean(calm) < 0.05


@pytest.mark.parametrize(
    ("word", "what"),
    [
        ("doubled", "etch a register card"),
        ("shifted", "belts are tight"),
        ("banded", "belts are tight"),
        ("patchy", "that is the coat"),
        ("pale", "five-patch card"),
    ],
)
def test_what_is_bad_again_is_advised_by_its_cause(word, what):
    # common practice, no source
    (due,) = reasons_to_test(replace(FINE, verdicts=(word, word)))

    assert what in due.advice
    assert ("card helps" in due.advice) is (word in ("shifted", "banded"))


def test_a_mistake_of_ours_between_two_pale_tiles_does_not_hide_them():
    due = reasons_to_test(replace(FINE, verdicts=("pale", "our mistake", "pale")))

    assert [reason.rule for reason in due] == ["pale again"]
