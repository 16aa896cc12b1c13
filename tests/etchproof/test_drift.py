"""When to test again: every rule when it is due, and at its limit when it is not."""

from dataclasses import replace

import pytest

from etchproof.drift.rules import RULES, Circumstances, History, reasons_to_test

SAME = Circumstances(
    tile_batch="box 3", paint="white, can 2", coating="two coats by airbrush", air_assist=False
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
    "new paint": {"now": replace(SAME, paint="white, can 3")},
    "new coating": {"now": replace(SAME, coating="roller")},
    "air assist changed": {"now": replace(SAME, air_assist=True)},
    "beam hours since the last card": {"beam_hours_since_card": 40.1},
    "beam hours since the lens was wiped": {"beam_hours_since_lens_wiped": 8.1},
    "reading outside its spread": {"lightness_at_recipe": (30.0, 31.0, 34.1)},
    "slower than the recipe": {"run_shares": (1.0, 0.949)},
    "bad in the same way again": {"verdicts": ("good", "pale", "pale")},
}
NOT_YET = {
    "beam hours since the last card": {"beam_hours_since_card": 40.0},
    "beam hours since the lens was wiped": {"beam_hours_since_lens_wiped": 8.0},
    "a lens nobody noted": {"beam_hours_since_lens_wiped": None},
    "a reading inside three points": {"lightness_at_recipe": (30.0, 31.0, 33.4)},
    "a reading inside a wide spread": {"lightness_at_recipe": (26.0, 34.0, 30.0, 38.0)},
    "a first reading": {"lightness_at_recipe": (80.0,)},
    "no reading": {"lightness_at_recipe": ()},
    "a twentieth slower": {"run_shares": (0.95,)},
    "slow before, not now": {"run_shares": (0.5, 1.0)},
    "no run": {"run_shares": ()},
    "two bad ones of different kinds": {"verdicts": ("pale", "banded")},
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

    assert [reason.rule for reason in due] == ["air assist changed", "bad in the same way again"]
