"""Register: the lag and slack of an invented axis, found by camera and by eye."""

from dataclasses import replace

import numpy as np
import pytest

from darkroom.camera import LARGE, Shot, photograph
from darkroom.cards import RECIPE, power_card, register_card
from darkroom.tile import SURFACES, etch_hairlines, not_wiped
from etchproof.errors import NoRegister
from etchproof.model.register_reading import register_by_camera, register_by_eye
from etchproof.reading.camera import read_card
from etchproof.reading.values import HairlineShift, Reading
from etchwire.catalogue.heads import Register

pytestmark = pytest.mark.slow

WORKING = RECIPE.feed_mm_per_min


def photographed(lag_s, slack_mm, **shot):
    card = register_card()
    tile = etch_hairlines(card, SURFACES["willing"], lag_s=lag_s, slack_mm=slack_mm)
    photo = photograph(tile, Shot(tilt_degrees=20, light_ratio=2.0, distortion=0.01, **shot))
    return read_card([photo], [card], is_wiped=True)[0]


@pytest.mark.parametrize(
    ("lag_s", "slack_mm"), [(0.0004, 0.06), (0.0, 0.0), (0.0012, 0.02), (0.0002, 0.15)]
)
def test_a_camera_finds_both_corrections(lag_s, slack_mm):
    found = register_by_camera(photographed(lag_s, slack_mm))

    true = Register(beam_lag_s=lag_s, slack_mm=slack_mm)
    assert found.register.is_measured
    for feed in (WORKING, WORKING / 2):
        assert found.register.lead_mm(feed) == pytest.approx(true.lead_mm(feed), abs=0.01)
    assert found.register.slack_mm == pytest.approx(slack_mm, abs=0.02)


@pytest.mark.parametrize("haze", [0.0, 0.02])
def test_a_card_with_its_burnt_paint_still_on_it_reads_the_same(haze):
    """It lies on its hairline, whichever way that was burnt; more soot than that is refused."""
    card = register_card()
    tile = etch_hairlines(card, SURFACES["willing"], lag_s=0.0004, slack_mm=0.06)
    photo = photograph(not_wiped(tile, haze=haze), Shot(tilt_degrees=20, light_ratio=2.0))

    found = register_by_camera(read_card([photo], [card], is_wiped=True)[0])

    true = Register(beam_lag_s=0.0004, slack_mm=0.06)
    for feed in (WORKING, WORKING / 2):
        assert found.register.lead_mm(feed) == pytest.approx(true.lead_mm(feed), abs=0.01)


def test_a_camera_finds_them_beyond_the_offsets_that_the_card_tries():
    found = register_by_camera(photographed(0.004, 0.3))

    true = Register(beam_lag_s=0.004, slack_mm=0.3)
    assert 2 * true.lead_mm(WORKING) > max(pair.offset_mm for pair in register_card().hairlines)
    assert found.register.lead_mm(WORKING) == pytest.approx(true.lead_mm(WORKING), abs=0.01)


@pytest.mark.parametrize("pairs", [7, 17])
@pytest.mark.parametrize("is_stained", [False, True])
def test_give_or_take_holds_nine_truths_in_ten(pairs, is_stained):
    """Pairs are read with a normal error, of which one may be far off, as on a stain."""
    chance = np.random.default_rng(pairs)
    apart = {WORKING: 0.10, WORKING / 2: 0.08}
    held = []
    for _ in range(400):
        shifts = []
        for feed, truth in apart.items():
            errors = chance.normal(0, 0.008, pairs)
            errors[0] += 0.04 * is_stained
            shifts += [
                HairlineShift(
                    number=number, offset_mm=0.0, feed_mm_per_min=feed, true_feed_mm_per_min=feed,
                    shift_mm=-truth - error,
                )
                for number, error in enumerate(errors, start=1)
            ]  # fmt: skip
        reading = Reading(card_number=9, kind="register", photos=(), hairlines=tuple(shifts))
        held += [
            abs(one.apart_mm - apart[one.feed_mm_per_min]) <= one.doubt_mm
            for one in register_by_camera(reading).at_speeds
        ]

    assert 0.87 <= np.mean(held) <= 0.97


def test_give_or_take_holds_for_photos_too():
    held = []
    for seed in range(6):
        chance = np.random.default_rng(seed)
        true = Register(beam_lag_s=chance.uniform(1e-4, 8e-4), slack_mm=chance.uniform(0, 0.1))
        tile = etch_hairlines(
            register_card(), SURFACES["willing"], lag_s=true.beam_lag_s, slack_mm=true.slack_mm
        )
        shot = replace(
            LARGE, tilt_degrees=chance.uniform(0, 18), towards_degrees=chance.uniform(0, 360),
            light_ratio=1.4, noise_codes=3, distortion=chance.uniform(-0.005, 0.005), seed=seed,
        )  # fmt: skip
        reading = read_card([photograph(tile, shot)], [register_card()], is_wiped=True)[0]
        for one in register_by_camera(reading).at_speeds:
            truth_mm = 2 * true.lead_mm(one.feed_mm_per_min)
            held.append(abs(one.apart_mm - truth_mm) <= one.doubt_mm)

    assert sum(held) >= 0.9 * len(held)


def test_an_eye_finds_them_to_half_a_step():
    card = register_card()
    true = Register(beam_lag_s=0.0006, slack_mm=0.08)
    offsets = [pair.offset_mm for pair in card.hairlines[:17]]

    def nearest_half(feed):
        apart = 2 * true.lead_mm(feed)
        numbers = [number / 2 for number in range(2, 35)]
        at = [offsets[0] + (number - 1) * 0.03 for number in numbers]
        return min(zip(numbers, at, strict=True), key=lambda pair: abs(pair[1] - apart))[0]

    found = register_by_eye(card, {feed: nearest_half(feed) for feed in (WORKING, WORKING / 2)})

    assert found.register.lead_mm(WORKING) == pytest.approx(true.lead_mm(WORKING), abs=0.02)


@pytest.mark.parametrize(
    ("meeting", "words"),
    [
        ({WORKING: 5}, "both speeds"),
        ({WORKING: 5, 777.0: 5}, "no hairlines at 777"),
        ({WORKING: 0.5, WORKING / 2: 5}, "numbered 1 to 17"),
        ({WORKING: 18, WORKING / 2: 5}, "wider range"),
    ],
)
def test_what_an_eye_cannot_have_seen_is_refused(meeting, words):
    with pytest.raises(NoRegister, match=words):
        register_by_eye(register_card(), meeting)


def shift(number, feed, shift_mm):
    return HairlineShift(
        number=number, offset_mm=0.0, feed_mm_per_min=feed, true_feed_mm_per_min=feed,
        shift_mm=shift_mm,
    )  # fmt: skip


def reading(*shifts, kind="register"):
    return Reading(card_number=9, kind=kind, photos=(), hairlines=shifts)


def test_lag_and_slack_follow_from_two_speeds_by_plain_arithmetic():
    # 2 v lag + slack: at 50 mm/s 0.14, at 25 mm/s 0.10, so lag is 0.0008 s and slack 0.06 mm
    fast = [shift(number, 3000.0, -0.14) for number in range(6)]
    slow = [shift(number, 1500.0, -0.10) for number in range(6)]

    found = register_by_camera(reading(*fast, *slow)).register

    assert (found.beam_lag_s, found.slack_mm) == pytest.approx((0.0008, 0.06))


@pytest.mark.parametrize(
    ("shifts", "words"),
    [
        ([], "both speeds"),
        ([shift(n, 3000.0, 0.1) for n in range(6)], "both speeds"),
        ([shift(n, f, 0.1) for f in (3000.0, 1500.0) for n in range(3)], "only 3 pairs"),
        ([shift(n, f, 0.3 * (n % 2)) for f in (3000.0, 1500.0) for n in range(9)], "disagree"),
    ],
)
def test_hairlines_that_do_not_show_it_are_refused(shifts, words):
    with pytest.raises(NoRegister, match=words):
        register_by_camera(reading(*shifts))


def test_a_power_card_shows_no_register():
    with pytest.raises(NoRegister, match="no register card"):
        register_by_camera(replace(reading(), kind=power_card().kind))
