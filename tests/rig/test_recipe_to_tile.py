"""Recipes run by the whole chain: how dark, how even, what dose, and what the speed does to it.

The three settings are common practice in the trade, no source: a 20 W laser at 4000 mm/min and
60 %, 10 W at 2400 and 90 %, 5 W at 500 and 80 %, all at 0.1 mm. The surface they are tried on is
invented.
"""

import numpy as np
import pytest

from etchpractice.tile.exposure import CELL_MM
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import read_sheet

pytestmark = pytest.mark.slow

WELL_INSIDE_MM = 0.5
COMMON_PRACTICE = {
    "practice-20w": (20, 4000, 0.6),
    "practice-10w": (10, 2400, 0.9),
    "practice-5w": (5, 500, 0.8),
}


class Patch:
    """A solid patch of 20 rows, 3 mm long, etched by a recipe at a changed speed."""

    def __init__(self, rig, name, *, feed_ratio=1.0):
        recipe = PRACTICE_RECIPES[name]
        folder = rig.make_job(
            np.ones((20, 30), dtype=bool),
            head=PRACTICE_HEADS[name],
            feed_mm_per_min=recipe.feed_mm_per_min * feed_ratio,
            power_ratio=recipe.power_ratio,
        )
        rig.start(folder)
        rig.wait_for_the_end(within_s=300)
        assert rig.run.ended == "complete", rig.run.because
        self.sheet = read_sheet(folder)
        picture = self.sheet.picture
        self.tile = rig.machine.tile
        self.inside = (
            picture.left_mm + WELL_INSIDE_MM, picture.bottom_mm + WELL_INSIDE_MM,
            picture.right_mm - WELL_INSIDE_MM, picture.top_mm - WELL_INSIDE_MM,
        )  # fmt: skip

    def seen(self):
        return self.tile.reflectance(rectangle=self.inside)

    def fallen_j_per_mm2(self):
        """Return what fell on a whole number of rows, before heat and the coat make it uneven.

        12 W counts as it is; less power does less of its work, and more does more.
        """
        left, bottom, right, top = (round(edge / CELL_MM) for edge in self.inside)
        cells = self.tile.exposure.window(left, bottom, right - left, top - bottom)
        return float(cells.mean()) / CELL_MM**2


@pytest.mark.parametrize("name", PRACTICE_RECIPES)
def test_the_practice_recipes_are_the_settings_of_common_practice(name):
    head, recipe = PRACTICE_HEADS[name], PRACTICE_RECIPES[name]

    assert (head.rated_optical_w, recipe.feed_mm_per_min, recipe.power_ratio) == COMMON_PRACTICE[
        name
    ]
    assert recipe.line_spacing_mm == 0.1


@pytest.mark.parametrize("name", COMMON_PRACTICE)
def test_settings_of_common_practice_burn_dark_and_even(rig_of, name):
    """Dark: within a hundredth of the darkest this surface gets. Even: no streak or row of a
    scatter that the eye would see (a hundredth of reflectance is 1 of 100 steps to white)."""
    patch = Patch(rig_of(head=PRACTICE_HEADS[name]), name)

    seen = patch.seen()

    assert seen.mean() < patch.tile.surface.fired_reflectance + 0.01
    assert seen.std() < 0.01


@pytest.mark.parametrize("name", COMMON_PRACTICE)
def test_twice_as_fast_is_paler_and_half_as_fast_breaks_the_glaze(rig_of, name):
    """The light on a place goes as 1 / speed while the power stands: P / (v h)."""
    head = PRACTICE_HEADS[name]
    good = Patch(rig_of(head=head), name)

    hasty = Patch(rig_of(head=head), name, feed_ratio=2.0)
    slow = Patch(rig_of(head=head), name, feed_ratio=0.5)

    good_j = good.fallen_j_per_mm2()
    assert hasty.fallen_j_per_mm2() == pytest.approx(good_j / 2, rel=0.01)
    assert slow.fallen_j_per_mm2() == pytest.approx(good_j * 2, rel=0.01)
    assert hasty.seen().mean() > 2 * good.seen().mean()  # it has not saturated
    assert slow.seen().mean() > 1.5 * good.seen().mean()  # broken glaze turns pale


def test_12_w_at_4000_mm_per_min_and_a_tenth_leave_1_8_j_per_mm2_on_the_tile(rig):
    """Area dose P / (v h), the usual definition in papers on laser processing (elementary).

    20 W at 60 % are the 12 W that the practice surface counts as they are: plain light.
    """
    patch = Patch(rig, "practice-20w")

    assert patch.fallen_j_per_mm2() == pytest.approx(1.8, rel=0.01)
    assert patch.sheet.dose_j_per_mm2 == pytest.approx(1.8)
