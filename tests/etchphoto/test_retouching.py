"""A face lightened inside an oval, a background faded to white."""

import math

import numpy as np
import pytest

from etchphoto.errors import UnfitOrder
from etchphoto.estimate import DARK_EDGE, dot_findings
from etchphoto.framing import Crop
from etchphoto.halftone import HALFTONES
from etchphoto.retouching import FULL_STOPS, NOT_RETOUCHED, Oval, Part, Retouching
from etchphoto.tone import Adjustments, coverage_to_burn

SHAPE = (80, 100)
FACE = Oval(0.3, 0.4, 0.2, 0.25)
DARK = np.full(SHAPE, 0.04, dtype=np.float32)
LIGHTENED = Retouching(oval=FACE, lightening=100)


def test_nothing_asked_for_changes_nothing_to_the_last_bit():
    assert NOT_RETOUCHED.apply(DARK) is DARK


def test_the_middle_of_the_oval_gets_its_stops_of_light_and_outside_nothing_changes():
    # A stop doubles the light (photography, common practice); in deep shadow nothing bends it yet.
    faint = np.full(SHAPE, 1e-4)

    light = LIGHTENED.apply(faint)

    middle = light[int(0.4 * SHAPE[0]), int(0.3 * SHAPE[1])]
    assert middle / 1e-4 == pytest.approx(2**FULL_STOPS, rel=1e-3)
    assert light[0, 0] == light[-1, -1] == 1e-4
    assert (light > 1e-4).mean() == pytest.approx(math.pi * 0.2 * 0.25, rel=0.02)  # an ellipse


def test_black_and_white_stay_and_greys_keep_their_order_inside_the_oval():
    greys = np.linspace(0, 1, 101)
    whole = Retouching(oval=Oval(0.5, 0.5, 100, 100), lightening=100)  # even all over

    light = whole.apply(np.tile(greys, (3, 1)))[1]

    assert (light[0], light[-1]) == (0, pytest.approx(1))
    assert (np.diff(light) > 0).all()


def test_the_oval_has_no_edge_to_be_seen():
    grey = np.full((400, 400), 0.2)

    steps = np.abs(np.diff(LIGHTENED.apply(grey), axis=1))

    assert steps.max() < 0.02  # two hundredths of white's light from dot to dot


def test_the_oval_stays_on_the_face_when_less_of_the_photo_is_used():
    part = Crop(0.1, 0.2, 0.6, 0.8)
    whole = LIGHTENED.apply(np.full((200, 200), 0.1))

    cut = LIGHTENED.within(part).apply(np.full((120, 100), 0.1))

    assert cut == pytest.approx(whole[40:160, 20:120], abs=1e-9)


def test_rows_at_a_time_make_the_same_picture():
    both = Retouching(oval=FACE, lightening=60, fade=80)

    parts = [
        both.apply(DARK[row : row + 7], Part(top=row, left=0, rows=80, columns=100))
        for row in range(0, 80, 7)
    ]

    assert np.concatenate(parts) == pytest.approx(both.apply(DARK), abs=1e-7)


def test_a_part_is_retouched_as_it_is_within_its_picture():
    both = Retouching(oval=FACE, lightening=60, fade=80)

    part = both.apply(DARK[20:50, 30:70], Part(top=20, left=30, rows=80, columns=100))

    assert part == pytest.approx(both.apply(DARK)[20:50, 30:70], abs=1e-7)


def test_the_fade_leaves_the_middle_and_clears_the_corners():
    faded = Retouching(fade=75).apply(DARK)

    assert faded[40, 50] == DARK[0, 0]
    assert faded[0, 0] == faded[-1, -1] == 1
    assert Retouching(fade=0.01).apply(DARK) == pytest.approx(DARK, abs=0.001)


def test_the_faded_background_is_bare_tile_whatever_the_contrast():
    flat = Adjustments(contrast=0.4)

    burnt = coverage_to_burn(DARK, flat, retouching=Retouching(fade=75))

    assert burnt[0, 0] == 0
    assert coverage_to_burn(DARK, flat)[0, 0] > 0


def test_a_dark_background_that_is_warned_of_is_mended_by_the_fade():
    before = HALFTONES["jarvis"](1 - DARK)
    after = HALFTONES["jarvis"](coverage_to_burn(DARK, retouching=Retouching(fade=75)))

    assert [one.name for one in dot_findings(before)] == ["dark-background"]
    assert dot_findings(after) == ()
    assert DARK_EDGE < 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"lightening": -1},
        {"lightening": math.nan},
        {"fade": 101},
        {"oval": Oval(0.5, 0.5, 0, 0.1)},
        {"oval": Oval(0.5, 0.5, 0.1, math.nan)},
    ],
)
def test_what_is_no_retouching_is_refused(wrong):
    with pytest.raises(UnfitOrder):
        Retouching(**wrong)
