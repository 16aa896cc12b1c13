"""What disturbs a photo is told apart: glare, hard and soft shadows, soot that was not wiped off.

The tiles and photographs are invented; that soot lies around what was burnt is common practice,
no source.
"""

from dataclasses import replace

import numpy as np
import pytest

from darkroom.camera import LARGE, Shot, photograph
from darkroom.cards import first_grid, power_card, tone_card, wishes
from darkroom.practice import burn_on_practice, burnt_on_practice
from darkroom.tile import SURFACES, etch, not_wiped
from etchpractice.tile.imperfections import Imperfections
from etchproof.errors import PhotoRefused
from etchproof.layout.power_card import lay_out_power_card
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.reading.brown_haze import is_brown
from etchproof.reading.camera import read_card
from etchproof.reading.photograph import COLOUR_PX
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES

pytestmark = pytest.mark.slow
CARDS = {"power": power_card, "tone": tone_card}
GOOD_ENOUGH = 0.02  # of reflectance, as in `test_camera`


@pytest.fixture(scope="module", params=CARDS)
def tile(request):
    return etch(CARDS[request.param](), SURFACES["willing"])


def reason_of(tile, shot):
    with pytest.raises(PhotoRefused) as refused:
        read_card([photograph(tile, shot)], [tile.card], is_wiped=True)
    return refused.value.reason


def shaded(depth, soft_mm, x_mm=28.0):
    return replace(LARGE, tilt_degrees=20, light_ratio=1.5, shadows=((x_mm, depth, soft_mm),))


@pytest.mark.parametrize(
    ("shot", "reason"),
    [
        (Shot(tilt_degrees=20, glare=((30.0, 50.0, 5.0, 0.6),)), "glare"),
        (Shot(tilt_degrees=20, glare=((20.0, 30.0, 3.0, 0.4),)), "glare"),
        (shaded(0.4, 0.2), "hard-shadow"),
        (shaded(0.3, 1.0), "hard-shadow"),
        (shaded(0.5, 0.5, x_mm=42.0), "hard-shadow"),
        (shaded(0.4, 3.0), "soft-shadow"),
    ],
    ids=["glare", "small glare", "hard", "rather hard", "hard, aside", "soft"],
)
def test_what_disturbs_the_light_is_told_apart(tile, shot, reason):
    assert reason_of(tile, shot) == reason


def test_a_patchy_film_on_a_practice_tile_is_refused_and_wiping_named(tmp_path):
    """In the light it looks as a shadow does, and nothing tells them apart but a look."""
    film = {"imperfections": Imperfections(haze=0.3)}
    recipe = PRACTICE_RECIPES["practice-5w"]
    card = lay_out_tone_card(wishes(head=PRACTICE_HEADS["practice-5w"]), recipe)
    tile = burn_on_practice(card, "white-tile", tmp_path / "job", **film)

    with pytest.raises(PhotoRefused, match="a film of soot was left: wipe it"):
        read_card([photograph(tile, Shot(tilt_degrees=20))], [card], is_wiped=True)


@pytest.mark.parametrize("soft_mm", [8.0, 15.0])
def test_a_shadow_so_soft_that_it_is_put_right_is_read(tile, soft_mm):
    reading, _ = read_card([photograph(tile, shaded(0.4, soft_mm))], [tile.card], is_wiped=True)

    off = [
        abs(reading.of(patch.cell, patch.part).reflectance - tile.truth(patch.area))
        for patch in tile.card.patches
    ]
    assert max(off) < GOOD_ENOUGH


@pytest.mark.parametrize(("haze", "seed"), [(0.05, 1), (0.1, 2), (0.3, 1)])
def test_a_card_that_was_not_wiped_and_is_claimed_to_be_is_found(tile, haze, seed):
    """Such photos were accepted with up to 0.22 too much reflectance."""
    shot = Shot(tilt_degrees=20, light_ratio=2.0, seed=seed)

    assert reason_of(not_wiped(tile, haze=haze), shot) == "not-wiped"


@pytest.mark.parametrize("tint", [(1.0, 0.985, 0.95), (1.0, 0.8, 0.5)], ids=["day", "lamp"])
def test_brown_paint_without_soot_is_found_on_a_card_of_fine_dots_too(tile, tint):
    """A tone card has one solid step, and was read as it lay."""
    shot = Shot(tilt_degrees=20, tint=tint, noise_codes=3.0)

    assert reason_of(not_wiped(tile, haze=0.0, brown=0.4), shot) == "not-wiped"


def test_a_brown_fringe_is_found_where_solid_patches_have_fired_black(tmp_path):
    """So a practice tile looks before it is wiped: paint is brown between scorching and firing."""
    head = PRACTICE_HEADS["practice-20w"]
    card = lay_out_power_card(wishes(head=head), first_grid(head, (3, 3)))
    wiped, painted = burnt_on_practice(card, "white-tile", tmp_path / "job", brown=0.5)
    shot = Shot(tilt_degrees=12, width_px=2600, height_px=1950)

    assert reason_of(painted, shot) == "not-wiped"
    read_card([photograph(wiped, shot)], [card], is_wiped=True)


@pytest.mark.parametrize(
    "shot",
    [
        Shot(tilt_degrees=30, light_ratio=2.5, blur_px=3.0, noise_codes=6.0, distortion=0.01),
        Shot(tilt_degrees=10, light_ratio=3.0, light_from_degrees=200, quality=60, seed=5),
    ],
    ids=["bad", "lit from the other side"],
)
def test_a_bad_photo_of_a_wiped_card_is_taken_for_neither(tile, shot):
    read_card([photograph(tile, shot)], [tile.card], is_wiped=True)


@pytest.mark.parametrize(("blue", "brown"), [(0.1, True), (0.3, False)], ids=["brown", "black"])
def test_brown_is_looked_for_where_a_patch_lies(blue, brown):
    """In a picture of one cell to a dot, two patches are dark, and only these."""
    card = power_card()
    colour = np.ones((card.rows, card.columns, 2), dtype=np.float32)
    for patch in card.patches[:2]:
        colour[patch.area.rows, patch.area.columns] = 0.3, blue
    to_photo = np.diag([COLOUR_PX / card.spacing_mm, COLOUR_PX / card.spacing_mm, 1.0])

    assert is_brown(colour, to_photo, card) is brown
