"""Real photographs, all the way: photo, dots, G-code, daemon, practice machine, wiped tile.

The photographs ship inside scikit-image and scikit-learn (their licences are stated there).
"""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from skimage import data
from sklearn.datasets import load_sample_image

from etchphoto.job import PhotoOrder, prepare_job
from etchwire.craft import Register
from etchwire.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import PICTURE_NAME, read_sheet

HEAD = PRACTICE_HEADS["practice-20w"]
RECIPE = PRACTICE_RECIPES["practice-20w"]
WIDTH_MM = 14.0
PHOTOS = {
    "camera": data.camera,
    "astronaut": data.astronaut,
    "coins": data.coins,
    "horse": data.horse,
    "china": lambda: load_sample_image("china.jpg"),
    "flower": lambda: load_sample_image("flower.jpg"),
}
BLEND_DOTS = 5  # the eye blends a few dots into one grey
SURROUND_MM = 0.5


def etch_photo(rig, pixels, *, head=HEAD, recipe=RECIPE, width_mm=WIDTH_MM, **wishes):
    """Etch a picture given as an array and return its sheet; the run must be complete."""
    photo = rig.folder / "photo.png"
    Image.fromarray(pixels).save(photo)
    folder = rig.folder / "photo-job"
    order = PhotoOrder(head=head, recipe=recipe, width_mm=width_mm, **wishes)
    prepare_job(photo, order, folder=folder)
    sheet = rig.start(folder)
    rig.wait_for_the_end(within_s=1.3 * sheet.predicted_s + 30)
    assert rig.run["ended"] == "complete", rig.run["because"]
    return sheet


def frame(sheet, margin_mm=0.0):
    picture = sheet.picture
    return (
        picture.left_mm - margin_mm, picture.bottom_mm - margin_mm,
        picture.right_mm + margin_mm, picture.top_mm + margin_mm,
    )  # fmt: skip


def promised_dots(rig, sheet):
    """Return the dots of the promise, True where it is black: shape (rows, columns)."""
    with Image.open(rig.folder / "photo-job" / PICTURE_NAME) as picture:
        grey = np.asarray(picture.convert("L"))
    scale = grey.shape[1] // sheet.columns
    return grey[scale // 2 :: scale, scale // 2 :: scale] < 128


def blended(values):
    rows, columns = (side // BLEND_DOTS for side in values.shape)
    blocks = values[: rows * BLEND_DOTS, : columns * BLEND_DOTS].astype(float)
    return blocks.reshape(rows, BLEND_DOTS, columns, BLEND_DOTS).mean(axis=(1, 3)).ravel()


@pytest.fixture(params=PHOTOS, scope="module")
def photograph(request):
    pixels = PHOTOS[request.param]()
    return (pixels * 255).astype(np.uint8) if pixels.dtype == bool else pixels


def test_a_photograph_shows_on_the_wiped_tile(rig, photograph):
    sheet = etch_photo(rig, photograph)
    tile = rig.machine.tile
    promised = promised_dots(rig, sheet)

    reflectance = tile.reflectance(rectangle=frame(sheet), mm_per_px=0.1)

    # Dots grow beyond their pixel (spot and heat), so greys come out darker, but in order.
    assert np.corrcoef(blended(promised), blended(reflectance))[0, 1] < -0.9
    # Where the promise is black, the tile is: the dots keep their places.
    middle_mm = tile.reflectance(rectangle=frame(sheet), mm_per_px=0.02)[2::5, 2::5]
    assert middle_mm[promised].mean() < tile.surface.fired_reflectance + 0.05
    # White stays white where nothing is burnt within the reach of spot and heat.
    is_free = ~grown(promised)
    if is_free.any():
        assert middle_mm[is_free].min() > 0.95 * tile.surface.tile_reflectance


def grown(dots):
    """Return the dots and all their neighbours."""
    padded = np.pad(dots, 1)
    rows, columns = dots.shape
    return np.any(
        [padded[y : y + rows, x : x + columns] for y in range(3) for x in range(3)], axis=0
    )


def test_nothing_outside_the_picture_is_burnt(rig):
    sheet = etch_photo(rig, np.zeros((40, 40), dtype=np.uint8), width_mm=4.0)
    tile = rig.machine.tile

    seen = tile.reflectance(rectangle=frame(sheet, SURROUND_MM), mm_per_px=0.1)

    is_outside = np.ones(seen.shape, dtype=bool)
    is_outside[4:-4, 4:-4] = False
    assert seen[is_outside].min() > 0.95 * tile.surface.tile_reflectance
    assert seen[8:-8, 8:-8].max() < tile.surface.fired_reflectance + 0.05


def bar_edges_mm(rig, sheet):
    """Return the left edge of a burnt bar in each of its rows, top first."""
    seen = rig.machine.tile.reflectance(rectangle=frame(sheet), mm_per_px=0.01)
    surface = rig.machine.tile.surface
    is_dark = seen < (surface.tile_reflectance + surface.fired_reflectance) / 2
    return np.array([np.flatnonzero(row)[0] * 0.01 for row in is_dark[5::10] if row.any()])


@pytest.mark.parametrize(
    ("register", "apart_mm"),
    [
        (HEAD.register, 0.0),
        # Rows to the right land late by v·lag + slack/2, rows to the left as much the other way.
        (Register(), 2 * HEAD.register.lead_mm(RECIPE.feed_mm_per_min)),
    ],
    ids=["corrected", "as the machine is"],
)
def test_rows_of_both_directions_meet_only_when_the_register_is_corrected(rig, register, apart_mm):
    bits = np.zeros((16, 60), dtype=bool)
    bits[::2, 20:40] = True
    head = replace(HEAD, register=register)

    rig.start(rig.make_job(bits, head=head))
    rig.wait_for_the_end()

    sheet = read_sheet(rig.folder / "job-0")
    edges = bar_edges_mm(rig, sheet)
    assert len(edges) == 8
    assert np.mean(edges[0::2]) - np.mean(edges[1::2]) == pytest.approx(apart_mm, abs=0.02)


def solid_patch(rig, *, head, recipe, feed_ratio):
    """Etch a solid patch with the recipe at a changed speed and return what is seen of it."""
    folder = rig.make_job(
        np.ones((20, 30), dtype=bool),
        head=head,
        feed_mm_per_min=recipe.feed_mm_per_min * feed_ratio,
        power_ratio=recipe.power_ratio,
    )
    rig.start(folder)
    rig.wait_for_the_end(within_s=300)
    return rig.machine.tile.reflectance(rectangle=frame(read_sheet(folder), -0.5))


@pytest.mark.parametrize("name", PRACTICE_RECIPES)
def test_settings_of_common_practice_burn_dark_and_even_and_twice_as_fast_does_not(rig_of, name):
    """20 W: 4000 mm/min, 60 %; 10 W: 2400, 90 %; 5 W: 500, 80 % (common practice, no source)."""
    head, recipe = PRACTICE_HEADS[name], PRACTICE_RECIPES[name]
    rig, rig_beside = rig_of(head=head), rig_of(head=head)
    fired = rig.machine.tile.surface.fired_reflectance

    good = solid_patch(rig, head=head, recipe=recipe, feed_ratio=1)
    hasty = solid_patch(rig_beside, head=head, recipe=recipe, feed_ratio=2)

    assert good.mean() < fired + 0.01
    assert good.std() < 0.01
    assert hasty.mean() > 2 * good.mean()
