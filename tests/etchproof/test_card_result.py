"""What a card told, as plain tables that survive JSON, with the figures of the engine itself."""

import json
from dataclasses import replace

import pytest

from darkroom.camera import photograph
from darkroom.cards import HEAD, RECIPE, power_card, register_card, tone_card, wishes
from darkroom.tile import SURFACES, etch, etch_hairlines
from etchproof.choosing.card_result import CardEvidence, result_of
from etchproof.choosing.choice import choose
from etchproof.errors import NoToneCurve, UnreadableCard
from etchproof.layout.check_strip import lay_out_check_strip
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import lay_out_power_card
from etchproof.model.tone_reading import read_tone
from etchproof.reading.camera import read_card
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.heads import Register
from etchwire.catalogue.records import Curve, ReadingRecord, RecipeRecord

pytestmark = pytest.mark.slow

SURFACE = SURFACES["willing"]


def seen(card, tile):
    reading, _ = read_card([photograph(tile)], [card], is_wiped=True)
    return reading


def stored(card, reading=None, **more):
    """Return what comes back from the logbook and the page's folder."""
    table = {"card": card.to_json(), "reading": reading.to_json() if reading else "", **more}
    return CardEvidence.from_table(json.loads(json.dumps(table)))


@pytest.fixture(scope="module")
def power():
    card = power_card()
    return card, seen(card, etch(card, SURFACE))


def test_a_power_card_recommends_what_the_chooser_chose(power):
    card, reading = power
    outcome = choose(card, reading, {})

    told = result_of(stored(card, reading))

    recipe = told.recommended["recipe"]
    assert recipe["feed_mm_per_min"] == outcome.choice.feed_mm_per_min
    assert told.summary["lightness_at_recipe"] == outcome.choice.lightness_at_recipe
    assert [cell["name"] for cell in told.table["cells"]] == list(card.cells())
    json.dumps(told.table, allow_nan=False)


def test_a_five_patch_card_tells_how_dark_the_recipe_itself_still_is():
    """The laser has faded: the middle is pale, and a slower patch is as dark as ever."""
    card = lay_out_power_card(wishes(), Grid.round_recipe(RECIPE, HEAD))
    middle = next(
        name
        for name, (patch, *_) in card.cells().items()
        if (patch.feed_mm_per_min, patch.power_ratio) == (3000.0, 0.55)
    )
    patches = tuple(
        PatchReading(
            cell=patch.cell, part=patch.part, reflectance=0.1, unevenness=0.3, photos=1,
            lightness=47.0 if patch.cell == middle else 30.0 + 2 * number,
        )
        for number, patch in enumerate(card.patches)
    )  # fmt: skip
    reading = Reading(card_number=card.number, kind=card.kind, photos=(), patches=patches)

    told = result_of(CardEvidence(card=card, reading=reading))

    assert told.summary["lightness_at_recipe"] == 47.0
    assert told.summary["darkest_lightness"] == 30.0


def test_what_is_recommended_fits_the_logbook(power):
    card, reading = power
    told = result_of(stored(card, reading))

    belongs = {"head": card.head.name, "surface": card.recipe.surface}
    RecipeRecord.from_table(told.recommended["recipe"] | belongs)
    ReadingRecord(
        card=card.number, way="camera", summary=told.summary, recommended=told.recommended
    )


def test_a_hand_s_mark_overrules_the_camera(power):
    card, reading = power
    before = result_of(stored(card, reading)).table["choice"]["cell"]

    shown = stored(card, reading, marks={before: "rubs off"})

    assert shown.way == "both"
    assert result_of(shown).table["choice"]["cell"] != before


def test_an_earlier_card_keeps_the_standard_of_darkness(power):
    card, reading = power
    alone = result_of(stored(card, reading))
    after = result_of(stored(card, reading), earlier=[stored(card, reading)])

    assert after.table["choice"]["cell"] == alone.table["choice"]["cell"]


def test_a_tone_card_recommends_its_recipe_with_the_curve():
    card = tone_card()
    reading = seen(card, etch(card, SURFACE))

    told = result_of(stored(card, reading))

    tone = read_tone(card, reading)
    curve = Curve.from_table(told.recommended["recipe"]["tone_curve"])
    assert list(curve.to_burn) == list(tone.curve.to_burn)
    assert told.recommended["recipe"]["feed_mm_per_min"] == card.recipe.feed_mm_per_min
    assert told.summary["tvi_percent"] == tone.tvi_percent


def test_greys_are_not_read_by_hand():
    with pytest.raises(NoToneCurve, match="camera"):
        result_of(stored(tone_card()))


def test_a_register_card_recommends_the_lag_and_slack_it_was_burnt_with():
    card = register_card()
    reading = seen(card, etch_hairlines(card, SURFACE, lag_s=0.0004, slack_mm=0.06))

    register = Register.from_table(result_of(stored(card, reading)).recommended["register"])

    assert register.is_measured
    assert abs(
        register.lead_mm(3000) - Register(beam_lag_s=0.0004, slack_mm=0.06).lead_mm(3000)
    ) < (0.02)


def test_a_register_card_is_read_by_eye_too():
    card = register_card()
    feeds = sorted({pair.feed_mm_per_min for pair in card.hairlines})
    shown = stored(card, meets={f"{feed:g}": "6.5" for feed in feeds})

    told = result_of(shown)

    assert shown.way == "hand"
    (offset,) = {round(apart["apart_mm"], 6) for apart in told.table["at_speeds"]}
    assert told.recommended["register"]["slack_mm"] == pytest.approx(offset)


def test_nothing_seen_and_nothing_said_is_refused():
    with pytest.raises(UnreadableCard, match="one line"):
        result_of(stored(register_card()))


def test_a_glaze_damaged_on_a_check_strip_is_one_for_every_later_power_card():
    """On the strip 60 % at 1500 mm/min broke it; a later card has that, and more."""
    strip = lay_out_check_strip(wishes(number=6), replace(RECIPE, power_ratio=0.6))
    slow = min(strip.patches, key=lambda patch: patch.feed_mm_per_min)
    damaged = CardEvidence(card=strip, marks={slow.cell: Mark.GLAZE_DAMAGED})
    feeds = (slow.feed_mm_per_min * 0.9, slow.feed_mm_per_min * 1.1)
    card = lay_out_power_card(
        wishes(number=7), Grid(feeds_mm_per_min=feeds, power_ratios=(0.5, 0.7))
    )
    later = CardEvidence(card=card, marks={"B1": Mark.GOOD})

    told = result_of(later, earlier=[damaged])

    judged = {cell["name"]: cell["judgement"] for cell in told.table["cells"]}
    assert judged["A2"] == "glaze damaged"
    assert judged["B2"] == judged["A1"] == "not read"
    assert told.table["next_range"]["low_feed_mm_per_min"] > slow.feed_mm_per_min
