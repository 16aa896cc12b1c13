"""How well two tiles' whites are told apart, over 40 photos of known L*. Prints a table."""

import numpy as np
import pytest

from darkroom.two_tiles import photographs
from etchproof.reading.photograph import load_photograph
from etchproof.reading.whiteness import compare_whites
from measure.photo_cost_test import show

pytestmark = pytest.mark.measure

PHOTOS = 40


def test_the_error_of_whites_over_40_photographs():
    found = [(compare_whites(load_photograph(file).light), truth) for file, truth in
             photographs(PHOTOS)]  # fmt: skip
    off = np.array([abs(one.lightness - truth) for one, truth in found])
    within = sum(error <= one.give_or_take for error, (one, _) in zip(off, found, strict=True))
    show([
        (f"difference of two whites, {PHOTOS} photos, uneven light",
         f"mean {off.mean():.2f} L*, at most {off.max():.2f} L*",
         f"{within} within their give or take"),
    ])  # fmt: skip
