"""How long a picture takes with other dots, told beforehand by a sample of its rows."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from etchpath.writer.dots import Order, write_job
from etchphoto.etch_time import etching_s
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import dots_of
from etchphoto.measured_tone import MeasuredTone
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_RECORDS

skimage_data = pytest.importorskip("skimage.data")

pytestmark = pytest.mark.slow

RECORD = PRACTICE_RECORDS[DEFAULT_HEAD]
ORDER = PhotoOrder(
    head=PRACTICE_HEADS[DEFAULT_HEAD], recipe=RECORD.settings(), width_mm=18,
    tone=MeasuredTone.from_record(RECORD.to_table()),
)  # fmt: skip


@pytest.mark.parametrize("halftone", ["jarvis", "test-card"])
def test_the_time_told_is_that_of_the_whole_picture_within_three_in_a_hundred(halftone):
    """The astronaut (NASA, public domain, ships with scikit-image); dots are searched in full."""
    portrait = Image.fromarray(skimage_data.astronaut()).convert("L").resize((180, 180))
    wanted = (1 - (np.asarray(portrait) / 255) ** 2.2).astype(np.float32)
    order = replace(ORDER, halftone=halftone)

    told_s = etching_s(wanted, order)

    job = Order(title="", head=order.head, recipe=order.recipe, halftone=halftone)
    bits = dots_of(order.tone_curve.apply(wanted), order)
    assert told_s == pytest.approx(write_job(bits, BytesIO(), job).predicted_s, rel=0.03)
