"""A tone curve belongs to what it was measured with: a change leaves it out, and says so."""

import io
from dataclasses import replace

import pytest

from etchphoto.decoder.loading import load_photo
from etchphoto.halftone import HALFTONES
from etchphoto.job.order import DEFAULT_HALFTONE, PhotoOrder
from etchphoto.job.order_findings import GREYS_NOT_MEASURED, findings
from etchphoto.measured_tone import HALFTONE_UNSTATED, MeasuredTone
from etchphoto.tone import BURNT_AS_WANTED
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from support.samples.photo_files import encoded, scene

HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
RECORD = {
    **RECIPE.to_table(),
    "halftone": "floyd-steinberg",
    "tone_curve": {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 1.0]},
}
TONE = MeasuredTone.from_record(RECORD)
CHANGES = {
    "feed_mm_per_min": (3000.0, "speed"),
    "power_ratio": (0.5, "power"),
    "line_spacing_mm": (0.12, "line spacing"),
    "air_assist": (True, "air assist"),
    "surface": ("the next box", "tile and paint"),
}


def order(**changes):
    said = {"head": HEAD, "recipe": RECIPE, "width_mm": 20.0, "halftone": TONE.halftone}
    return PhotoOrder(**(said | {"tone": TONE} | changes))


def said_of_greys(wish):
    photo = load_photo(io.BytesIO(encoded(scene(300, 200), "PNG")), name="scene.png")
    return [one for one in findings(photo, wish) if one.name.startswith(("greys", "tone"))]


def test_a_curve_is_used_with_what_it_was_measured_with_and_nothing_is_remarked():
    assert order().tone_curve == TONE.curve
    assert said_of_greys(order()) == []


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_setting_leaves_the_curve_out_and_names_the_setting(name):
    value, words = CHANGES[name]
    wish = order(recipe=replace(RECIPE, **{name: value}))

    (said,) = said_of_greys(wish)

    assert wish.tone_curve == BURNT_AS_WANTED
    assert f"measured with another {words}, so" in said.sentence


@pytest.mark.parametrize("halftone", sorted(set(HALFTONES) - {"threshold", TONE.halftone}))
def test_another_halftone_leaves_the_curve_out_and_says_so(halftone):
    wish = order(halftone=halftone)

    (said,) = said_of_greys(wish)

    assert wish.tone_curve == BURNT_AS_WANTED
    assert "another halftone" in said.sentence


def test_lettering_has_no_greys_to_be_measured():
    wish = order(halftone="threshold")

    assert wish.tone_curve == BURNT_AS_WANTED
    assert said_of_greys(wish) == []


@pytest.mark.slow
def test_without_a_curve_the_greys_are_said_to_be_unmeasured():
    (said,) = said_of_greys(order(tone=None))

    assert said.sentence.startswith(GREYS_NOT_MEASURED)


def test_a_percentage_typed_again_is_the_same_power():
    again = replace(RECIPE, power_ratio=0.1 * 6)  # one unit in the last place off 0.6

    assert again.power_ratio != RECIPE.power_ratio
    assert order(recipe=again).tone_curve == TONE.curve


def test_a_record_without_a_curve_has_no_measured_tone():
    assert MeasuredTone.from_record(RECORD | {"tone_curve": None}) is None


def test_a_record_that_names_no_halftone_has_that_of_cards_laid_out_as_usual():
    tone = MeasuredTone.from_record(RECORD | {"halftone": ""})

    assert tone.halftone == HALFTONE_UNSTATED == DEFAULT_HALFTONE
