"""A durability trial tells the lightness lost and the cycles run, never a promise of years.

How strips are worn is common practice, no source; surfaces and losses are invented.
"""

from dataclasses import replace

import pytest

from darkroom.camera import Shot, photograph
from darkroom.cards import RECIPE, wishes
from darkroom.tile import SURFACES, etch
from etchproof.choosing.card_result import CardEvidence, result_of
from etchproof.choosing.durability import SCATTER_L, Trial
from etchproof.choosing.kinds import TREATMENTS
from etchproof.errors import UnreadableCard
from etchproof.layout.card_order import CardOrder, lay_out
from etchproof.reading.camera import read_card

pytestmark = pytest.mark.slow

STRIP = lay_out(CardOrder(kind="check", wishes=wishes(), recipe=RECIPE))


def seen(lost=0.0, seed=1):
    """Photograph and read the strip after this share of its darkness was lost."""
    tile = etch(STRIP, SURFACES["willing"])
    worn = replace(tile, reflectance=(1 - (1 - tile.reflectance) * (1 - lost)).astype("float32"))
    shot = Shot(tilt_degrees=6 + seed, light_ratio=1.3, seed=seed)
    return read_card([photograph(worn, shot)], [STRIP], is_wiped=True)[0]


@pytest.fixture(scope="module")
def before():
    return seen()


def result(before, after, treatment="dishwasher", cycles=20):
    trial = Trial(treatment=treatment, cycles=cycles, before=before)
    return result_of(CardEvidence(card=STRIP, reading=after, trial=trial))


def test_what_was_lost_is_told_in_lightness_and_cycles(before):
    told = result(before, seen(lost=0.05, seed=2))

    # black of 6 % that lost a twentieth of its darkness reflects 10.7 %: L* 29 becomes 39
    assert told.summary["loss_l"] == pytest.approx(9.7, abs=1.5)
    assert (told.summary["trial"], told.summary["cycles"]) == ("dishwasher", 20)
    assert "After 20 cycles of dishwasher: the recipe's patch is" in told.table["sentences"][0]
    assert "how many years they stand for is not known" in told.table["sentences"][1]
    assert told.recommended is None
    assert "lightness_at_recipe" not in told.summary  # no drift is measured by it


def test_two_photos_of_one_strip_show_no_loss(before):
    told = result(before, seen(seed=3))

    assert abs(told.summary["loss_l"]) <= SCATTER_L
    assert "no loss that a photo shows" in told.table["sentences"][0]


@pytest.mark.parametrize("treatment", TREATMENTS)
def test_every_treatment_can_be_told(before, treatment):
    table = {"treatment": treatment, "cycles": 3, "before": before.to_json()}

    assert Trial.from_table(table).treatment == treatment


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"treatment": "praying"}, "scouring, thinner"),
        ({"cycles": 0}, "1 to 100000"),
        ({"before": ""}, "no reading of this strip from before"),
    ],
)
def test_what_is_no_trial_is_refused(before, entry, words):
    table = {"treatment": "thinner", "cycles": 3, "before": before.to_json()} | entry

    with pytest.raises(UnreadableCard, match=words):
        Trial.from_table(table)
