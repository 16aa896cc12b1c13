"""The dot that a tone card shows: found again, and told of patterns the card does not have."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from darkroom.cards import HEAD, power_card, wishes
from darkroom.tile import SURFACES, burn, etch
from etchphoto.dots.rendering import darkness
from etchphoto.halftone import HALFTONES
from etchphoto.light import lightness
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.dot_fit import Step, fit_dot
from etchproof.model.tone_reading import read_dot
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.heads import Recipe

pytestmark = pytest.mark.slow

RECIPES = {"willing": (3370.0, 0.57), "stubborn": (3370.0, 0.90), "tender": (3370.0, 0.57)}

SOLID = 11  # of the tints


@cache
def tints(halftone):
    return tuple(
        HALFTONES[halftone](np.full((80, 80), share)) | (share == 1)
        for share in (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
    )


@pytest.mark.parametrize(
    "dot",
    [
        Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06),
        Dot(spread_dots=0.65, threshold=0.1, scale=0.35, steepness=3.0, black=0.1),
        Dot(spread_dots=0.35, threshold=0.4, scale=0.2, steepness=1.2, black=0.05),
    ],
)
def test_a_dot_of_its_own_law_is_found_again(dot):
    middle = slice(20, 60), slice(20, 60)
    steps = [
        Step(bits=bits, read=middle, reflectance=shown(bits, dot)[middle].mean(), unevenness=0.0)
        for bits in tints("jarvis")
    ]

    found = fit_dot(steps, 0.1)

    assert found.fit_error < 0.003
    assert found.spread_dots == pytest.approx(dot.spread_dots, rel=0.1)
    assert found.black == pytest.approx(dot.black, abs=0.005)


def shown(bits, dot):
    return 1 - (1 - dot.black) * darkness(bits, dot)


@pytest.mark.parametrize("name", SURFACES)
def test_on_surfaces_of_other_laws_the_card_tells_how_dark_another_halftone_comes_out(name):
    feed, power = RECIPES[name]
    surface = SURFACES[name]
    recipe = Recipe(surface=name, feed_mm_per_min=feed, power_ratio=power, line_spacing_mm=0.1)
    card = lay_out_tone_card(wishes(), recipe)

    dot = read_dot(card, reading_of(card, etch(card, surface)))

    exposure = surface.exposure(HEAD.rated_optical_w * power, feed, 0.1)
    off = []
    for bits in tints("floyd-steinberg"):
        tile = burn((bits * exposure).astype(np.float32), power_card(), surface)
        truth = tile.reflectance[80:-80, 80:-80].mean()
        off.append(shown(bits, dot)[20:60, 20:60].mean() - truth)
    assert dot.fit_error < 0.02
    assert np.sqrt(np.mean(np.square(off))) < 0.02


def reading_of(card, tile):
    """What a camera without faults would read."""
    patches = tuple(
        PatchReading(
            cell=patch.cell,
            part=patch.part,
            reflectance=tile.truth(patch.area),
            lightness=0.0,
            unevenness=0.0,
            photos=1,
        )
        for patch in card.patches
    )
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=patches)


@pytest.mark.parametrize("blur_dots", [0.0, 2.5])
def test_a_coat_that_scatters_makes_the_dot_uneven_and_an_even_one_does_not(blur_dots):
    """In a photo the pattern's own scatter is blurred, and the coat's is less."""
    dot = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06)
    middle = slice(20, 60), slice(20, 60)
    random = np.random.default_rng(1)
    even, uneven, truth = [], [], []
    for bits in tints("jarvis"):
        nodes = random.standard_normal((8, 8)).astype(np.float32)
        coat = 1 + np.float32(0.06) * cv2.resize(nodes, (80, 80))
        truth.append(coat[middle].std())
        scattered = 1 - (1 - dot.black) * darkness(bits, dot, coat)
        even.append(step(bits, middle, blurred(shown(bits, dot), blur_dots)[middle]))
        uneven.append(step(bits, middle, blurred(scattered, blur_dots)[middle]))

    assert fit_dot(even, 0.1).unevenness < 0.02
    assert fit_dot(uneven, 0.1).unevenness == pytest.approx(np.mean(truth), abs=0.012)


def test_where_black_is_reached_a_pale_place_of_the_coat_does_not_speak_for_all_of_it():
    """There a slope says next to nothing, and a coat at its thinnest shows all the same."""
    dot = Dot(spread_dots=0.5, threshold=0.18, scale=0.46, steepness=2.7, black=0.15)
    middle = slice(20, 60), slice(20, 60)
    random = np.random.default_rng(3)
    steps = []
    for number, bits in enumerate(tints("jarvis")):
        nodes = np.float32(0.12) * random.standard_normal((8, 8)).astype(np.float32)
        coat = 1 + cv2.resize(nodes, (80, 80))
        if number == SOLID:
            coat[20:40, 20:40] = 0.72
        scattered = 1 - (1 - dot.black) * darkness(bits, dot, coat)
        steps.append(step(bits, middle, scattered[middle]))

    assert fit_dot(steps, 0.1).unevenness < 0.15


@pytest.mark.parametrize(
    "dot",
    [
        Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06),
        Dot(spread_dots=0.55, threshold=0.4, scale=0.2, steepness=2.0, black=0.045),
    ],
)
def test_middle_greys_on_better_and_worse_coat_do_not_spoil_the_light_and_the_dark_ones(dot):
    middle = slice(20, 60), slice(20, 60)
    coat = {3: 0.96, 5: 1.04, 7: 0.97}  # a step's share of the light
    patterns = tints("jarvis")
    steps = []
    for number, bits in enumerate(patterns):
        lit = 1 - (1 - dot.black) * darkness(bits, dot, np.float32(coat.get(number, 1.0)))
        reflectance = float(lit[middle].mean())
        steps.append(Step(bits=bits, read=middle, reflectance=reflectance, unevenness=0.0))

    found = fit_dot(steps, 0.1)

    ends = [*patterns[:3], *patterns[8:]]
    truths, told = (
        np.array([lightness(shown(bits, one)[middle].mean()) for bits in ends])
        for one in (dot, found)
    )
    assert np.sqrt(np.mean((told - truths) ** 2)) < 0.3


def blurred(reflectance, sigma):
    return cv2.GaussianBlur(reflectance, (0, 0), sigma) if sigma else reflectance


@pytest.mark.parametrize("power_exponent", [1.5, 2.3])
def test_steps_that_ran_slower_tell_how_power_counts_against_time(power_exponent):
    dot = Dot(
        spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06,
        power_exponent=power_exponent,
    )  # fmt: skip
    middle = slice(20, 60), slice(20, 60)
    steps = []
    for number, bits in enumerate(tints("jarvis")):
        ratio = 0.75 if 4 <= number <= 8 else 1.0
        power = ratio**1.1  # power follows the speed at a run's end
        light = np.float32(power**power_exponent / ratio)
        shown_there = 1 - (1 - dot.black) * darkness(bits, dot, light)[middle]
        read = step(bits, middle, shown_there)
        steps.append(replace(read, unevenness=0.0, speed_ratio=ratio, power_ratio=power))

    found = fit_dot(steps, 0.1)

    assert found.fit_error < 0.004
    assert found.power_exponent == pytest.approx(power_exponent, abs=0.2)


def step(bits, middle, reflectance):
    cells = reflectance.reshape(8, 5, 8, 5).mean(axis=(1, 3))
    scatter = float(np.std(116 * np.cbrt(cells) - 16))
    return Step(bits=bits, read=middle, reflectance=float(reflectance.mean()), unevenness=scatter)
