"""Settings found by the page alone: real daemon, logbook, practice machine, child processes.

The surface is of our own invention and the page does not know it. Cards are small here; the full
round with a portrait is `tests/measure/finding_settings_test.py`.
"""

from support.harnesses.page_by_http import field
from support.harnesses.settings_by_page import Finder


def test_a_test_tile_burnt_and_read_by_the_page_brings_a_recipe_into_force(tmp_path):
    with Finder(tmp_path, surface="quick-paint", speedup=40) as finder:
        finder.make(
            finds="power", place_width_mm=46, place_height_mm=40, low_feed=1500, high_feed=3000,
            low_percent=45, high_percent=60, speeds=2, powers=2,
        )  # fmt: skip
        finder.etch()
        page = finder.read(finder.photo())
        feed, percent = field(page, "feed"), field(page, "percent")
        finder.choose(feed=feed, percent=percent)

        recipe = finder.recipe()
        assert (recipe["feed_mm_per_min"], recipe["origin"]) == (float(feed), "reading")
        told = finder.story()
        for kind in (
            "Test card 1 made",
            "Test card 1 etched",
            "Test card 1 read by camera",
            "Recipe",
        ):
            assert kind in told
