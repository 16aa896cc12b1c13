"""Single dots that hardly darken: told from the dot of a tone card, with a slower recipe."""

from dataclasses import replace

import pytest

from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.single_dots import CALM_THRESHOLD, pale_dots
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECORDS
from etchwire.catalogue.heads import Recipe

pytestmark = pytest.mark.slow

HEAD = replace(PRACTICE_HEADS["practice-20w"], rated_optical_w=10.0)
RECIPE = Recipe(surface="thick-coat", feed_mm_per_min=1690.0, power_ratio=1.0, line_spacing_mm=0.13)
# Read from a tone card on the practice machine's thick coat, with this recipe at 10 W.
PALE = Dot(
    spread_dots=0.44, threshold=0.455, scale=0.243, steepness=2.38, black=0.044,
    unevenness=0.021, fit_error=0.006, power_exponent=1.9,
)  # fmt: skip


def card_of(recipe):
    request = CardRequest(
        number=1, head=HEAD, surface=recipe.surface, place=Place(120.0, 120.0),
        line_spacing_mm=recipe.line_spacing_mm, halftone="jarvis",
    )  # fmt: skip
    return lay_out_tone_card(request, recipe)


@pytest.mark.slow
def test_dots_that_hardly_darken_are_told_with_a_slower_recipe_and_what_it_wins():
    found = pale_dots(card_of(RECIPE), PALE)

    # Etched and looked at on that tile (`tests/measure`): 4.3 L*, and 3.0 at 1300 mm/min.
    assert found.error_l == pytest.approx(4.0, abs=0.5)
    assert found.slower_error_l == pytest.approx(3.0, abs=0.5)
    assert found.slower_mm_per_min == pytest.approx(1690 * CALM_THRESHOLD / 0.455)
    assert "1238 mm/min with 100 %" in found.sentence
    assert "37 % longer" in found.sentence


@pytest.mark.parametrize("name", PRACTICE_RECORDS)
def test_the_practice_recipes_dots_are_not_pale(name):
    dot = Dot.from_table(PRACTICE_RECORDS[name].to_table()["tone_curve"]["dot"])

    assert pale_dots(card_of(RECIPE), dot) is None


def test_no_more_dose_is_advised_than_any_surface_needs():
    slow = replace(RECIPE, feed_mm_per_min=520.0)

    assert pale_dots(card_of(slow), PALE) is None
