"""A patch against the bare tile around it, with light that is known."""

from functools import cache

import numpy as np
import pytest

from darkroom.cards import power_card
from etchproof.card import Area
from etchproof.layout.drawing import draw_card
from etchproof.layout.patch_core import core_of
from etchproof.reading.bare_light import BareLight
from etchproof.reading.measuring import GLARE_FAULT, SHADOW_FAULT, WHITE_FAULT, measure
from etchproof.reading.rectification import Rectified

PX_PER_MM = 20.0


@cache
def drawn():
    """The card's dots, and how far each lies from the top and from the left edge."""
    dots = np.kron(draw_card(power_card()), np.ones((2, 2), dtype=bool))
    return dots, *(np.indices(dots.shape) / PX_PER_MM)


def seen(reflectance, light):
    """A rectified card: its dots with this reflectance, under light given per pixel."""
    dots, *places_mm = drawn()
    picture = np.where(dots, reflectance, 1.0) * light(*places_mm)
    return Rectified(picture.astype(np.float32), PX_PER_MM, np.eye(3), 0.0)


def even(level):
    return lambda y, _x: np.full_like(y, level)


def read(picture, area):
    return measure(picture, BareLight.of_card(picture, power_card()), area, 0.1)


def solid(cell):
    return power_card().cells()[cell][0].area


def test_a_flat_field_divides_out():
    # checks.md 7.2: (120 - 10) / (180 - 10) of a bare tile; relative to it, 0.647059
    assert read(seen(110 / 170, even(0.5)), solid("C3")).reflectance == pytest.approx(
        0.647059, abs=1e-5
    )


@pytest.mark.parametrize("cell", ["A1", "A6", "C3", "F1", "F6"])
@pytest.mark.parametrize(
    "light",
    [
        lambda y, x: 0.3 * 2.0 ** (-(x + y) / 100),
        lambda y, x: 0.6 / (1 + ((x - 30) / 70) ** 2 + ((y - 40) / 70) ** 2) ** 2,
        lambda y, x: 0.4 + 0.002 * x - 0.001 * y,
    ],
    ids=["falls off to one side", "falls off from the middle", "a straight slope"],
)
def test_light_that_changes_across_the_card_changes_no_reading(light, cell):
    assert read(seen(0.2, light), solid(cell)).reflectance == pytest.approx(0.2, abs=0.004)


def test_glare_and_cut_off_light_are_told_apart():
    spot = lambda y, x: 0.5 + 0.4 * np.exp(-(((x - 30) / 5) ** 2) - ((y - 45) / 5) ** 2)  # noqa: E731

    with_glare = seen(0.2, spot)

    assert read(with_glare, solid("C3")).fault == GLARE_FAULT
    assert read(with_glare, solid("F6")).fault is None
    assert read(seen(0.2, even(0.99)), solid("C3")).fault == WHITE_FAULT
    assert read(seen(0.0, even(0.5)), solid("C3")).fault == SHADOW_FAULT
    assert read(seen(0.2, even(0.5)), solid("C3")).fault is None


def test_a_patch_that_shines_while_the_tile_around_it_does_not_is_overexposed():
    picture = seen(0.2, even(0.5))
    core = core_of(solid("C3"))
    rows, columns = (
        slice(2 * (part.start + 3), 2 * (part.stop - 3)) for part in (core.rows, core.columns)
    )
    picture.light[rows, columns] = 1.0

    assert read(picture, solid("C3")).fault == WHITE_FAULT
    assert read(picture, solid("C4")).fault is None


def test_the_core_of_a_patch_is_its_middle_half_each_way():
    # checks.md 7.2: 40 px patch, a quarter off each side, rows and columns 10 to 29
    core = core_of(Area(0, 0, 40, 40))

    assert (core.rows, core.columns) == (slice(10, 30), slice(10, 30))


def test_a_core_is_never_empty():
    assert core_of(Area(0, 0, 1, 1)).shape == (1, 1)
    assert core_of(Area(3, 3, 5, 6)).shape >= (1, 1)
