"""Jobs whose dots are searched for by the dot of a tone card, and curves worked out from it."""

from dataclasses import replace

import numpy as np
import pytest

from etchphoto.decoder.loading import load_photo
from etchphoto.dots.gain import (
    foreseen_error,
    foreseen_gain,
    foreseen_search_error,
    small_picture,
)
from etchphoto.dots.rendering import darkness
from etchphoto.dots.search import search_dots
from etchphoto.dots.speeds import Motion
from etchphoto.dots.switch_price import FULL_PRICE, LEAST_PRICE, switch_price
from etchphoto.errors import UnfitOrder
from etchphoto.halftone import HALFTONES
from etchphoto.job.order import FROM_TEST_CARD, PhotoOrder
from etchphoto.job.order_findings import findings
from etchphoto.job.prepare import dots_of, prepare_job
from etchphoto.measured_tone import MeasuredTone
from etchphoto.tone import ToneCurve
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.controller.profile import THIRTY_TWO_BIT
from support.samples.photo_files import encoded, scene

DOT = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06)
HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
TONE = MeasuredTone(
    curve=ToneCurve((0.0, 0.5, 1.0), (0.0, 0.3, 1.0)), recipe=RECIPE, halftone="jarvis", dot=DOT
)


def order(**changes):
    wish = {"head": HEAD, "recipe": RECIPE, "width_mm": 6.0, "tone": TONE}
    return PhotoOrder(**wish | {"halftone": FROM_TEST_CARD} | changes)


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "photo.png"
    path.write_bytes(encoded(scene(), "PNG"))
    return path


@pytest.mark.slow
def test_a_job_is_made_with_searched_dots_after_an_early_preview(photo, tmp_path):
    heard, previews, made = [], [], []

    sheet = prepare_job(
        photo, order(), folder=tmp_path / "job",
        on_progress=heard.append, on_preview=previews.append,
        on_dots=lambda _, bits: made.append(bits),
    )  # fmt: skip

    assert sheet.halftone == FROM_TEST_CARD
    assert heard == sorted(heard)
    assert len(previews) == 1
    assert previews[0].shape == made[0].shape
    assert (previews[0] != made[0]).any()


@pytest.mark.slow
def test_what_is_told_is_the_gain_for_this_dot(photo):
    gain = foreseen_gain(DOT, Motion(HEAD, RECIPE))

    told = {one.name: one.sentence for one in findings(load_photo(photo), order())}
    assert gain.percent > 10
    assert f"{gain.percent:.0f} % less" in told["dots-from-test-card"]


@pytest.mark.slow
def test_no_more_is_told_than_the_search_of_a_picture_does():
    """It ends sooner on the small picture, which leaves a little more."""
    motion = Motion(HEAD, RECIPE)
    wanted = small_picture()
    price = switch_price(HEAD, RECIPE)

    whole = search_dots(wanted, DOT, spacing_mm=0.1, motion=motion, switch_price=price)

    left = foreseen_error(whole, wanted, DOT, motion)
    assert left < foreseen_search_error(DOT, motion) < left + 0.05


@pytest.mark.parametrize(
    "changes",
    [
        {"tone": None},
        {"tone": replace(TONE, dot=None)},
        {"recipe": replace(RECIPE, power_ratio=0.5)},
        {"recipe": replace(RECIPE, line_spacing_mm=0.12)},
    ],
)
def test_without_a_tone_card_of_these_settings_no_dots_can_be_searched(changes):
    with pytest.raises(UnfitOrder, match="tone card"):
        order(**changes)


@pytest.mark.slow
@pytest.mark.parametrize("halftone", ["floyd-steinberg", "stucki"])
def test_the_curve_of_another_kernel_is_worked_out_from_the_dot(halftone):
    wanted = np.full((90, 90), 0.4)
    wide = replace(DOT, spread_dots=0.6, threshold=0.05)
    wish = order(halftone=halftone, tone=replace(TONE, dot=wide))

    bits = dots_of(wish.tone_curve.apply(wanted), wish)

    assert darkness(bits, wide)[10:-10, 10:-10].mean() == pytest.approx(0.4, abs=0.01)
    uncurved = darkness(HALFTONES[halftone](wanted), wide)[10:-10, 10:-10].mean()
    assert uncurved > 0.43


def test_a_curve_that_is_worked_out_for_another_halftone_is_said(photo):
    def told(**changes):
        return {one.name: one.sentence for one in findings(load_photo(photo), order(**changes))}

    converted = told(halftone="stucki")

    assert "worked out from the dot" in converted["tone-curve-worked-out"]
    assert "tone-curve-left-out" not in converted
    assert "tone-curve-worked-out" not in told(halftone="jarvis")
    assert "tone-curve-left-out" in told(halftone="stucki", tone=replace(TONE, dot=None))


def test_a_record_brings_its_dot():
    record = RECIPE.to_table() | {
        "halftone": "jarvis",
        "tone_curve": {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT.to_table()},
    }

    assert MeasuredTone.from_record(record).dot == DOT


def test_switches_cost_more_where_the_controller_cannot_keep_up():
    slow = replace(RECIPE, feed_mm_per_min=1200.0)
    many_lines = replace(HEAD, controller=THIRTY_TWO_BIT)

    assert switch_price(HEAD, slow) == LEAST_PRICE
    assert LEAST_PRICE < switch_price(HEAD, RECIPE) <= FULL_PRICE
    assert switch_price(many_lines, RECIPE) == LEAST_PRICE
