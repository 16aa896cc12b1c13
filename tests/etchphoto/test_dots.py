"""Dots by search: the eye and the dot against other libraries, the search against the kernels."""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import scipy.ndimage
import skimage.data
from PIL import Image

from etchpath.writer.raster import parts_of
from etchphoto.dots.eye import SPREADS_DEGREES, WEIGHTS, seen, sigma_mm
from etchphoto.dots.neighbourhoods import (
    HALVES,
    LEVEL,
    LEVELS,
    burnt_of,
    codes_of,
    darkness_table,
)
from etchphoto.dots.rendering import SAMPLES, darkness, exposures
from etchphoto.dots.search import Search, doubted, search_dots
from etchphoto.dots.speeds import Motion
from etchphoto.dots.tone_curve import tone_curve_of
from etchphoto.halftone import FLOYD_STEINBERG, JARVIS, STUCKI, diffuse_evenly
from etchphoto.light import lightness, luminance
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES, PRACTICE_RECORDS
from support.samples.parts_of_dots import half_a_dot_on, in_halves, shortest_run

pytestmark = pytest.mark.slow

SPACING_MM = 0.1
DOT = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06)
PRACTICE_DOT = Dot.from_table(PRACTICE_RECORDS["practice-20w"].to_table()["tone_curve"]["dot"])
KERNELS = {"floyd-steinberg": FLOYD_STEINBERG, "jarvis": JARVIS, "stucki": STUCKI}


def face():
    """A corner of the astronaut's portrait (NASA, public domain), as wanted darkness."""
    codes = skimage.data.astronaut()[20:260:2, 150:390:2]
    return (1 - luminance(codes)).astype(np.float32)


@cache
def searched_face():
    return search_dots(face(), DOT, spacing_mm=SPACING_MM)


@cache
def searched_grey(grey):
    return search_dots(np.full((152, 152), grey, np.float32), DOT, spacing_mm=SPACING_MM)


def error(bits, wanted, dot=DOT, light=None):
    """The difference in L* that is left once an eye has blurred both, RMS."""
    shown = 1 - (1 - dot.black) * darkness(bits, dot, light)
    off = lightness(seen(shown, SPACING_MM))
    off = off - lightness(seen(1 - (1 - dot.black) * wanted, SPACING_MM))
    return float(np.sqrt(np.mean(off[6:-6, 6:-6] ** 2)))


def test_the_eyes_constants_are_the_published_ones():
    # S-CIELAB, luminance channel: X. Zhang and B. A. Wandell, SID Journal 5, 1997 (from memory)
    published = [(0.921, 0.0283), (0.105, 0.133), (-0.108, 4.336)]

    assert list(zip(WEIGHTS, SPREADS_DEGREES, strict=True)) == published


@pytest.mark.parametrize("cycles_per_mm", [0.5, 1.0, 2.0, 4.0])
def test_a_grating_reaches_the_eye_as_strongly_as_the_published_sum_of_gaussians_says(
    cycles_per_mm,
):
    # S-CIELAB's luminance channel, X. Zhang and B. A. Wandell 1997 (constants from memory); the
    # transfer of exp(-(r/s)²) with unit volume is exp(-(pi s f)²)
    x_mm = (np.arange(600) + 0.5) * 0.025
    grating = np.tile(np.cos(2 * np.pi * cycles_per_mm * x_mm), (600, 1))

    left = seen(grating, 0.025)[300, 200:400]

    spreads_mm = [np.sqrt(2) * sigma_mm(spread) for spread in SPREADS_DEGREES]
    transfer = np.exp(-((np.pi * np.array(spreads_mm) * cycles_per_mm) ** 2))
    expected = np.dot(WEIGHTS, transfer) / sum(WEIGHTS)
    assert np.ptp(left) / 2 == pytest.approx(expected, abs=0.01)


def test_light_is_spread_as_another_library_spreads_it():
    # scipy.ndimage: rows as lines on a grid nine times as fine, then its Gaussian filter
    bits = np.random.default_rng(5).random((24, 24)) < 0.4
    fine = 9
    lines = np.zeros((24 * fine, 24 * fine))
    lines[fine // 2 :: fine] = bits.repeat(fine, axis=1) * fine
    spread = scipy.ndimage.gaussian_filter(lines, 0.5 * fine, truncate=6, mode="constant")

    places = np.array(list(exposures(bits, 0.5))).reshape(SAMPLES, SAMPLES, 24, 24)

    middle = [fine // 6, fine // 2, fine - 1 - fine // 6]
    theirs = np.array([[spread[y::fine, x::fine] for x in middle] for y in middle])
    assert places == pytest.approx(theirs, abs=0.02)


def test_light_of_parts_of_dots_is_spread_as_another_library_spreads_it():
    # scipy.ndimage: as above, each half of a dot 6 of 12 steps wide
    bits = np.random.default_rng(6).random((24, 24, 2)) < 0.4
    fine = 12
    lines = np.zeros((24 * fine, 24 * fine))
    for middle in (fine // 2 - 1, fine // 2):
        lines[middle::fine] = parts_of(bits).repeat(fine // 2, axis=1) * fine / 2
    spread = scipy.ndimage.gaussian_filter(lines, 0.5 * fine, truncate=6, mode="constant")

    places = np.array(list(exposures(parts_of(bits), 0.5, 2)))

    between = (spread[:-1] + spread[1:]) / 2  # a sixth, half and five sixths of a dot from its top
    theirs = [between[y::fine, x::6] for y in (1, 5, 9) for x in (1, 4)]
    assert places == pytest.approx(np.array(theirs), abs=0.02)


def test_whole_dots_given_in_parts_are_as_dark_as_whole_dots():
    bits = np.random.default_rng(7).random((30, 30)) < 0.5

    whole, parts = darkness(bits, DOT), darkness(in_halves(bits), DOT)

    assert parts == pytest.approx(whole, abs=0.03)  # seen at other places
    assert parts.mean() == pytest.approx(whole.mean(), abs=0.001)


def test_a_solid_is_wholly_dark_and_a_wide_spot_closes_a_hole_in_it():
    solid = darkness(np.ones((30, 30), dtype=bool), DOT)
    holed = np.ones((30, 30), dtype=bool)
    holed[15, 15] = False

    assert solid[10:20, 10:20] == pytest.approx(np.ones((10, 10)), abs=0.01)
    narrow, wide = (darkness(holed, replace(DOT, spread_dots=one))[15, 15] for one in (0.3, 0.6))
    assert narrow < 0.5
    assert wide > 0.9


@pytest.mark.parametrize("given", [in_halves, half_a_dot_on])
@pytest.mark.parametrize("spread_dots", [0.2, 0.45, 0.6])
def test_the_table_tells_the_darkness_of_a_halftone_from_what_burns_near_each_dot(
    spread_dots, given
):
    dot = replace(DOT, spread_dots=spread_dots)
    bits = given(diffuse_evenly(np.full((80, 80), 0.5) + 0.001, FLOYD_STEINBERG))

    by_table = darkness_table(dot)[codes_of(bits) + LEVELS // 2 * LEVEL].real

    off = (by_table - darkness(bits, dot))[8:-8, 8:-8]
    assert abs(off.mean()) < 0.005
    assert np.sqrt(np.mean(off**2)) < 0.02


def test_what_burns_of_dots_can_be_told_from_their_codes_again():
    bits = half_a_dot_on(np.random.default_rng(8).random((9, 11)) < 0.5)

    assert (burnt_of(codes_of(bits)) == bits).all()


def test_searched_runs_end_within_dots_too_and_none_is_shorter_than_a_dot():
    bits = searched_face()

    assert shortest_run(bits) == HALVES
    assert (bits[..., 0] != bits[..., 1]).any()


@pytest.mark.parametrize("unevenness", [0.0, 0.1])
def test_every_sweep_makes_what_is_wrong_smaller(unevenness):
    wanted = face()
    start = in_halves(diffuse_evenly(wanted, JARVIS))
    search = Search(wanted, replace(DOT, unevenness=unevenness), start, eye_sigma_dots=1.2, seed=1)
    wrong = [search.wrong]

    for _ in range(3):
        search.sweep()
        wrong.append(search.wrong)

    assert all(after < before for before, after in pairwise(wrong))


@pytest.mark.parametrize("name", KERNELS)
def test_searched_dots_show_a_face_better_than_a_kernel_with_its_own_curve(name):
    wanted = face()
    curve = tone_curve_of(DOT, KERNELS[name])
    diffused = diffuse_evenly(curve.apply(wanted), KERNELS[name])

    searched = searched_face()

    assert error(searched, wanted) < 0.85 * error(diffused, wanted)


@pytest.mark.parametrize(("kernel", "most"), [(JARVIS, 4.3), (STUCKI, 7.0)])
def test_a_curve_worked_out_for_a_head_that_detail_slows_down_suits_a_photos_ragged_dots(
    kernel, most
):
    """Even tints at a half or a third are regular: by them alone a face came out much too dark."""
    wanted = face()
    motion = Motion(PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"])

    bits = diffuse_evenly(tone_curve_of(PRACTICE_DOT, kernel, motion).apply(wanted), kernel)

    assert error(bits, wanted, PRACTICE_DOT, motion.light(bits, PRACTICE_DOT)) < most


def test_searched_dots_show_a_face_better_than_another_librarys_error_diffusion():
    # Pillow's convert("1") is Floyd and Steinberg's, written by others
    wanted = face()
    to_burn = tone_curve_of(DOT, FLOYD_STEINBERG).apply(wanted)
    codes = np.rint((1 - to_burn) * 255).astype(np.uint8)
    pillows = ~np.asarray(Image.fromarray(codes).convert("1"))

    searched = searched_face()

    assert error(searched, wanted) < 0.85 * error(pillows, wanted)


@pytest.mark.parametrize("grey", [1 / 16, 1 / 8, 1 / 4, 1 / 2])
def test_an_even_grey_shows_no_pattern_stronger_than_blue_noise_may(grey):
    # R. A. Ulichney, "Dithering with blue noise", Proc. IEEE 76, 1988 (formula from memory): the
    # power at g (1 - g) is 1 for white noise, and next to none well below the principal frequency
    bits = searched_grey(grey)[44:-44, 44:-44]

    share = float(bits.mean())
    power = np.abs(np.fft.fft2(parts_of(bits) - share)) ** 2 / bits.size / (share * (1 - share))
    cycles = np.hypot(*np.meshgrid(HALVES * np.fft.fftfreq(64 * HALVES), np.fft.fftfreq(64)))
    principal = min(np.sqrt(min(share, 1 - share)), 0.5)
    low = power[(cycles > 0) & (cycles < principal / 2)]
    assert low.mean() < 0.15


@pytest.mark.parametrize("grey", [1 / 16, 1 / 8, 1 / 4, 1 / 2, 3 / 4, 7 / 8])
def test_an_even_grey_shows_the_eye_no_pattern_and_next_to_no_grain(grey):
    # Ulichney as above; white noise has 1 at each frequency, so at most 0.15 of it may reach the
    # eye at any one frequency, where Floyd and Steinberg's dots of a light grey have 0.20
    dots = searched_grey(grey)[28:-28, 28:-28].mean(axis=2)

    share = float(dots.mean())
    reaching = np.fft.fft2(seen(dots, SPACING_MM) - share)
    power = np.abs(reaching) ** 2 / dots.size / (share * (1 - share))
    power[0, 0] = 0
    impulse = np.zeros(dots.shape)
    impulse[48, 48] = 1
    white = (np.abs(np.fft.fft2(seen(impulse, SPACING_MM))) ** 2).sum()
    assert power.max() < 0.15
    assert power.sum() < 0.1 * white


def test_the_same_seed_gives_the_same_dots_and_another_one_others():
    wanted = face()[:60, :60]

    first, again, other = (
        search_dots(wanted, DOT, spacing_mm=SPACING_MM, seed=seed) for seed in (3, 3, 4)
    )

    assert (first == again).all()
    assert (first != other).any()


def test_a_price_on_switches_leaves_fewer_of_them():
    dear = search_dots(face(), DOT, spacing_mm=SPACING_MM, switch_price=20.0)

    free_switches, dear_switches = (
        np.count_nonzero(np.diff(parts_of(bits), axis=1)) for bits in (searched_face(), dear)
    )
    assert dear_switches < 0.85 * free_switches


def test_on_an_uneven_coat_dots_are_chosen_that_hang_less_on_the_light():
    wanted = face()
    uneven = replace(DOT, unevenness=0.15)

    calm = search_dots(wanted, uneven, spacing_mm=SPACING_MM)

    weaker = replace(DOT, threshold=DOT.threshold / 0.85, scale=DOT.scale / 0.85)
    assert error(calm, wanted, weaker) < error(searched_face(), wanted, weaker)


def test_a_dot_is_searched_for_as_uneven_as_its_coat_or_its_fit_whichever_is_more():
    fits, misses = (doubted(replace(DOT, fit_error=one)).unevenness for one in (0.0, 0.006))

    assert 0 < fits < misses < 0.08
    assert doubted(replace(DOT, fit_error=0.006, unevenness=0.08)).unevenness == 0.08


def test_progress_rises_to_one_a_preview_comes_early_and_raising_cancels():
    wanted = face()[:40, :40]
    heard, previews = [], []

    search_dots(
        wanted, DOT, spacing_mm=SPACING_MM, on_progress=heard.append,
        on_preview=lambda bits: previews.append((len(heard), bits.shape)),
    )  # fmt: skip

    assert heard == sorted(heard)
    assert heard[-1] == 1
    assert previews == [(0, (40, 40, HALVES))]
    with pytest.raises(KeyboardInterrupt):
        search_dots(wanted, DOT, spacing_mm=SPACING_MM, on_progress=_cancel)


def _cancel(_share):
    raise KeyboardInterrupt


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1), (7, 5), (3, 700)])
def test_any_shape_of_picture_is_searched(shape):
    wanted = np.random.default_rng(2).random(shape).astype(np.float32)

    assert search_dots(wanted, DOT, spacing_mm=SPACING_MM).shape == (*shape, HALVES)
