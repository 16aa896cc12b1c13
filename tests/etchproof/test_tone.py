"""Tone: published values, and a ramp of greys on invented surfaces with and without the curve."""

from io import BytesIO

import numpy as np
import pytest

from darkroom.camera import Shot, photograph
from darkroom.cards import HEAD, power_card, wishes
from darkroom.tile import SURFACES, burn, etch
from etchphoto.halftone import HALFTONES
from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.tone import BURNT_AS_WANTED, coverage_to_burn
from etchproof.choosing.card_result import CardEvidence, result_of
from etchproof.errors import NoToneCurve
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.tone_reading import effective_coverage, read_tone, tone_value_increase
from etchproof.reading.camera import read_card
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.heads import Recipe

pytestmark = pytest.mark.slow

GOOD = {"willing": (3370.0, 0.57), "stubborn": (3370.0, 0.90), "tender": (3370.0, 0.57)}


def test_murray_davies_has_its_published_values():
    # A. Murray, J. Franklin Institute 221, 1936 (checks.md 3.2)
    from_densities = [10.0**-density for density in (0.07, 0.37, 1.37)]

    assert effective_coverage(0.38, bare=0.80, solid=0.08) == pytest.approx(0.5833333, abs=1e-7)
    bare, tint, solid = from_densities
    assert effective_coverage(tint, bare=bare, solid=solid) == pytest.approx(0.5251317, abs=1e-7)


def test_tone_value_increase_is_the_measured_share_less_the_nominal_one():
    # term: ISO 12647-1, from memory (checks.md 3.4)
    assert tone_value_increase(0.5, 0.583333333) == pytest.approx(8.3333333, abs=1e-6)


@pytest.mark.parametrize("name", GOOD)
def test_with_its_curve_a_ramp_of_greys_comes_out_as_the_photo_has_it(name):
    feed, power = GOOD[name]
    surface = SURFACES[name]
    recipe = Recipe(surface=name, feed_mm_per_min=feed, power_ratio=power, line_spacing_mm=0.1)
    card = lay_out_tone_card(wishes(), recipe)
    photo = photograph(etch(card, surface), Shot(tilt_degrees=20, light_ratio=2.0))
    tone = read_tone(card, read_card([photo], [card], is_wiped=True)[0])

    with_curve = ramp_error(surface, recipe, tone, tone.curve)
    without = ramp_error(surface, recipe, tone, BURNT_AS_WANTED)

    assert with_curve < 2.5
    assert with_curve * 3 < without


def ramp_error(surface, recipe, tone, curve):
    """Etch 21 greys evenly spaced in the photo's lightness; return how far off they are, RMS."""
    exposure = surface.exposure(
        HEAD.rated_optical_w * recipe.power_ratio, recipe.feed_mm_per_min, 0.1
    )
    off = []
    for luminance in luminance_of_lightness(np.linspace(0, 100, 21)):
        wanted = np.full((80, 80), luminance, dtype=np.float32)
        bits = HALFTONES["jarvis"](coverage_to_burn(wanted, curve=curve))
        tile = burn((bits * exposure).astype(np.float32), power_card(), surface)
        shown = float(tile.reflectance[80:-80, 80:-80].mean())
        promised = tone.black + luminance * (1 - tone.black)
        off.append(float(lightness(np.array(shown)) - lightness(np.array(promised))))
    return float(np.sqrt(np.mean(np.square(off))))


def reading_of(card, tint_of):
    """A reading in which each step reflects `tint_of` its coverage."""
    return Reading(
        card_number=card.number,
        kind=card.kind,
        photos=(),
        patches=tuple(
            PatchReading(
                cell=patch.cell,
                part=patch.part,
                reflectance=float(tint_of(patch.coverage)),
                lightness=0.0,
                unevenness=0.0,
                photos=1,
            )
            for patch in card.patches
        ),
    )


RECIPE = Recipe(surface="x", feed_mm_per_min=3000.0, power_ratio=0.5, line_spacing_mm=0.1)


def test_dots_that_cover_just_their_own_square_need_no_curve():
    card = lay_out_tone_card(wishes(), RECIPE)

    tone = read_tone(card, reading_of(card, lambda share: 1 - 0.9 * share))

    assert tone.tvi_percent == pytest.approx(0, abs=0.01)
    assert tone.curve.to_burn == pytest.approx(tone.curve.wanted, abs=1e-3)


def test_a_step_that_reads_lighter_than_the_one_before_still_gives_a_curve():
    card = lay_out_tone_card(wishes(), RECIPE)
    chance = np.random.default_rng(3)

    tone = read_tone(card, reading_of(card, lambda share: 1 - 0.9 * share + chance.normal(0, 0.05)))

    assert list(tone.effective) == sorted(tone.effective)
    assert list(tone.curve.to_burn) == sorted(tone.curve.to_burn)


@pytest.mark.parametrize(
    ("tint_of", "words"),
    [
        (lambda share: 1 - 0.1 * share, "does not blacken this surface"),
        (lambda _: 1.0, "does not blacken this surface"),
    ],
)
def test_a_surface_without_black_has_no_tone_curve(tint_of, words):
    card = lay_out_tone_card(wishes(), RECIPE)

    with pytest.raises(NoToneCurve, match=words):
        read_tone(card, reading_of(card, tint_of))


def test_a_power_card_and_half_a_tone_card_give_no_curve():
    card = lay_out_tone_card(wishes(), RECIPE)
    whole = reading_of(card, lambda share: 1 - 0.9 * share)
    half = Reading(card_number=7, kind="tone", photos=(), patches=whole.patches[:10])

    with pytest.raises(NoToneCurve, match="no tone card"):
        read_tone(power_card(), whole)
    with pytest.raises(NoToneCurve, match="from bare to solid"):
        read_tone(card, half)


def test_a_photo_of_nothing_but_noise_is_no_card():
    chance = np.random.default_rng(1).bytes(1000)

    with pytest.raises(ValueError, match="not a JPEG"):
        read_card([BytesIO(chance)], [power_card()], is_wiped=True)


def steps_read(card, lightness_of):
    """Read a tone card by a function from the share burnt to the lightness seen."""
    patches = tuple(
        PatchReading(
            cell=patch.cell,
            part=patch.part,
            reflectance=float(luminance_of_lightness(np.array(lightness_of(patch.coverage)))),
            lightness=lightness_of(patch.coverage),
            unevenness=0.4,
            photos=1,
        )
        for patch in card.patches
    )
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=patches)


def test_a_tone_card_whose_steps_are_darker_than_its_solid_was_burnt_too_far():
    recipe = Recipe(surface="t", feed_mm_per_min=1500.0, power_ratio=0.5, line_spacing_mm=0.1)
    card = lay_out_tone_card(wishes(), recipe)

    def lightness_of(share):  # darkest, L* 25, at about 0.8
        return float(np.interp(share, [0, 0.8, 1], [100, 25, 34]))

    found = read_tone(card, steps_read(card, lightness_of)).over_burnt

    assert found.coverage == pytest.approx(0.8, abs=0.06)
    assert found.solid_lightness == pytest.approx(34, abs=0.1)
    assert found.feed_mm_per_min * found.coverage == pytest.approx(1500)
    assert found.power_ratio == 0.5
    assert "burns too far" in found.sentence
    assert f"About {found.feed_mm_per_min:.0f} mm/min with 50 %" in found.sentence


def test_beyond_the_speed_of_photos_the_better_recipe_has_less_power():
    recipe = Recipe(surface="t", feed_mm_per_min=2400.0, power_ratio=0.5, line_spacing_mm=0.1)
    card = lay_out_tone_card(wishes(), recipe)

    found = read_tone(
        card, steps_read(card, lambda share: float(np.interp(share, [0, 0.7, 1], [100, 25, 40])))
    ).over_burnt

    assert found.feed_mm_per_min < 2500
    assert found.power_ratio < 0.4


def test_steps_as_dark_as_the_solid_are_no_sign_of_burning_too_far():
    card = lay_out_tone_card(wishes(), RECIPE_OF_TONE)

    found = read_tone(
        card, steps_read(card, lambda share: float(np.interp(share, [0, 0.8, 1], [100, 28, 30.9])))
    )

    assert found.over_burnt is None


@pytest.mark.parametrize(("darkest", "is_asked"), [(28, False), (62, True)])
def test_a_tone_card_without_black_is_asked_whether_it_was_wiped(darkest, is_asked):
    """Paint that fires without browning leaves nothing else to tell it by."""
    card = lay_out_tone_card(wishes(), RECIPE_OF_TONE)
    read = steps_read(card, lambda share: float(np.interp(share, [0, 1], [100, darkest])))

    sentences = result_of(CardEvidence(card=card, reading=read)).table["sentences"]

    assert ("Was it wiped?" in " ".join(sentences)) is is_asked


@pytest.mark.parametrize(("solid", "is_asked"), [(31, False), (46, True)])
def test_a_tone_card_much_paler_than_the_pair_s_power_card_is_asked_whether_it_was_wiped(
    solid, is_asked
):
    power = power_card()
    card = lay_out_tone_card(wishes(), RECIPE_OF_TONE)
    read = steps_read(card, lambda share: float(np.interp(share, [0, 1], [100, solid])))
    earlier = CardEvidence(card=power, reading=all_read(power, 29.0))

    table = result_of(CardEvidence(card=card, reading=read), earlier=[earlier]).table

    assert table["is_wiping_asked"] is is_asked
    asked = "a power card of this laser, tile and paint had 29. Was it wiped?"
    assert (asked in " ".join(table["sentences"])) is is_asked


def all_read(card, lightness_l):
    """A reading of which every patch is as light."""
    patches = tuple(
        PatchReading(
            cell=patch.cell, part=patch.part, reflectance=((lightness_l + 16) / 116) ** 3,
            lightness=lightness_l, unevenness=0.3, photos=1,
        )
        for patch in card.patches
    )  # fmt: skip
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=patches)


RECIPE_OF_TONE = Recipe(surface="t", feed_mm_per_min=1500.0, power_ratio=0.5, line_spacing_mm=0.1)


@pytest.mark.parametrize(
    ("key", "name"), [("jarvis", "smooth"), ("floyd-steinberg", "crisp"), ("stucki", "firm")]
)
def test_a_tone_card_calls_its_halftone_as_page_and_command_do(key, name):
    card = lay_out_tone_card(wishes(halftone=key), RECIPE)

    texts = [label.text.lower() for label in card.labels]

    assert name in texts
    assert key not in texts
