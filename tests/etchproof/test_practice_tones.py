"""The practice recipes' greys: the figures in the package are those that a new tone card gives."""

import json
from pathlib import Path

import pytest

from darkroom.camera import photograph
from darkroom.practice import burn_on_practice
from darkroom.practice_tones import SHOTS, SURFACE, etched_and_read
from etchphoto.measured_tone import MeasuredTone
from etchpractice.tile.surface import surface_named, surfaces
from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.tone_reading import read_dot
from etchproof.reading.camera import read_card
from etchwire.catalogue import examples
from etchwire.catalogue.heads import Recipe

pytestmark = pytest.mark.slow

KEPT = json.loads(Path(examples.__file__).with_name(examples.TONES_NAME).read_text("utf-8"))


@pytest.mark.parametrize("name", examples.PRACTICE_RECIPES)
def test_a_tone_card_etched_and_read_anew_gives_the_figures_that_are_kept(name, tmp_path):
    """Within what another JPEG coder or OpenCV may change of a photo: a thousandth."""
    elsewhere = KEPT["elsewhere"] if name == examples.DEFAULT_HEAD else {}
    kept = {SURFACE: KEPT["tones"][name], **elsewhere}

    anew = etched_and_read(name, tmp_path, tuple(kept))

    for surface, figures in kept.items():
        assert_is_kept(anew[surface], figures)


def assert_is_kept(anew, kept):
    assert anew["halftone"] == kept["halftone"]
    assert anew["burnt"] == kept["burnt"]
    assert anew["reflectance"] == pytest.approx(kept["reflectance"], abs=0.001)
    assert anew["tone_curve"]["to_burn"] == pytest.approx(kept["tone_curve"]["to_burn"], abs=0.01)
    assert anew["tone_curve"]["dot"] == pytest.approx(kept["tone_curve"]["dot"], abs=0.03)


@pytest.mark.parametrize("name", examples.PRACTICE_RECIPES)
def test_a_practice_recipe_brings_greys_that_were_measured_with_itself(name):
    record, recipe = examples.PRACTICE_RECORDS[name], examples.PRACTICE_RECIPES[name]

    tone = MeasuredTone.from_record(record.to_table())

    assert tone.changes(recipe, record.halftone) == ()
    assert not tone.curve.is_identity


def test_a_practice_surface_has_greys_where_the_recipe_does_not_burn_it_too_far():
    has_greys = {
        name: examples.practice_record_elsewhere("practice-20w", name, one.title).tone_curve
        is not None
        for name, one in surfaces().items()
        if name != SURFACE
    }

    assert has_greys == {"thin-coat": True, "thick-coat": True, "quick-paint": False}
    weaker = examples.practice_record_elsewhere("practice-5w", "thick-coat", "three thick coats")
    assert (weaker.surface, weaker.tone_curve) == ("three thick coats", None)


def test_a_photo_of_a_practice_card_tells_how_uneven_the_coat_is(tmp_path):
    """Half-millimetre cells of a patch see less than all of what varies over a millimetre."""
    recipe = Recipe(
        surface="thick-coat", feed_mm_per_min=2000, power_ratio=0.53, line_spacing_mm=0.1
    )
    wishes = CardRequest(
        number=1, head=examples.PRACTICE_HEADS["practice-20w"], surface=recipe.surface,
        place=Place(100.0, 100.0), line_spacing_mm=0.1, halftone="jarvis",
    )  # fmt: skip
    card = lay_out_tone_card(wishes, recipe, steps=12)
    photo = photograph(burn_on_practice(card, recipe.surface, tmp_path / "card"), SHOTS[1])

    dot = read_dot(card, read_card([photo], [card], is_wiped=True)[0])

    assert 0.5 < dot.unevenness / surface_named(recipe.surface).unevenness < 1.1
