"""Dots from coverage, against the papers, a plain loop and another program."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from etchphoto.halftone import (
    FLOYD_STEINBERG,
    HALFTONES,
    JARVIS,
    STUCKI,
    diffuse,
    diffuse_bands,
    diffuse_evenly,
    threshold,
)
from support.harnesses.examples import examples

KERNELS = {"floyd-steinberg": FLOYD_STEINBERG, "jarvis": JARVIS, "stucki": STUCKI}
every_kernel = pytest.mark.parametrize("kernel", KERNELS.values(), ids=KERNELS)

# Each kernel as its paper prints it; None is what has been decided, 0.0 the pixel in hand.
# R. W. Floyd, L. Steinberg, SID Digest 1975; weights also in Knuth, ACM TOG 6(4), 1987, p. 246.
# J. F. Jarvis, C. N. Judice, W. H. Ninke, Computer Graphics and Image Processing 5, 1976.
# P. Stucki, IBM Research Report RZ1060, 1981: over 42; a listing that prints 48 is wrong.
PRINTED = {
    "floyd-steinberg": (16, [[0, 7], [3, 5, 1]]),
    "jarvis": (48, [[0, 7, 5], [3, 5, 7, 5, 3], [1, 3, 5, 3, 1]]),
    "stucki": (42, [[0, 8, 4], [2, 4, 8, 4, 2], [1, 2, 4, 2, 1]]),
}


def plain(coverage, kernel):
    """Return dots, the errors made, and the error that left the picture: pixel by pixel."""
    rows, columns = coverage.shape
    values = [[float(value) for value in row] for row in coverage]
    bits = np.zeros(coverage.shape, dtype=bool)
    errors = np.zeros(coverage.shape)
    lost = 0.0
    for y in range(rows):
        for x in range(columns):
            bits[y, x] = values[y][x] >= 0.5
            error = errors[y, x] = values[y][x] - bits[y, x]
            for down, right, weight in kernel.taps:
                if y + down < rows and 0 <= x + right < columns:
                    values[y + down][x + right] += error * (weight / kernel.divisor)
                else:
                    lost += error * (weight / kernel.divisor)
    return bits, errors, lost


def noise(rows, columns, seed=1):
    return np.random.default_rng(seed).random((rows, columns))


def share_that_may_leave(rows, columns, kernel):
    """Return how much error can cross the border at most, each error being one half."""
    leaving = 0.0
    for down, right, weight in kernel.taps:
        inside = (rows - down) * (columns - abs(right))
        leaving += weight / kernel.divisor * (rows * columns - inside)
    return 0.5 * leaving


@pytest.mark.parametrize("name", KERNELS)
def test_a_kernel_has_the_weights_of_its_paper(name):
    divisor, printed = PRINTED[name]
    reach = (len(printed[1]) - 1) // 2
    expected = {(0, right): weight for right, weight in enumerate(printed[0]) if weight}
    for down, weights in enumerate(printed[1:], start=1):
        expected |= {(down, x - reach): weight for x, weight in enumerate(weights)}

    kernel = KERNELS[name]

    assert kernel.divisor == divisor
    assert {(down, right): weight for down, right, weight in kernel.taps} == expected


@every_kernel
def test_the_shares_of_a_kernel_sum_to_one(kernel):
    assert sum(weight for _, _, weight in kernel.taps) == kernel.divisor


@every_kernel
@pytest.mark.parametrize(
    "shape",
    [
        (1, 1),
        (1, 300),
        (9, 1),
        (9, 2),
        (9, 3),
        (9, 4),
        (50, 5),
        (50, 6),
        (50, 7),
        (3, 200),
        (60, 80),
    ],
)
def test_fronts_give_what_the_plain_loop_gives_bit_for_bit(kernel, shape):
    coverage = noise(*shape)

    assert (diffuse(coverage, kernel) == plain(coverage, kernel)[0]).all()


@every_kernel
@pytest.mark.parametrize("shape", [(9, 4), (60, 80)])
def test_pictures_that_are_diffused_together_come_out_as_each_alone(kernel, shape):
    pictures = [noise(*shape, seed) for seed in range(3)]

    together = diffuse(np.stack(pictures, axis=-1), kernel)

    alone = [diffuse(picture, kernel) for picture in pictures]
    assert (together == np.stack(alone, axis=-1)).all()


@every_kernel
@examples(30)
@given(rows=st.integers(1, 24), columns=st.integers(1, 24), seed=st.integers(0, 2**32 - 1))
def test_fronts_and_plain_loop_agree_on_any_shape(kernel, rows, columns, seed):
    coverage = noise(rows, columns, seed)

    assert (diffuse(coverage, kernel) == plain(coverage, kernel)[0]).all()


@every_kernel
@pytest.mark.parametrize("seed", range(6))
def test_the_errors_are_added_in_the_order_in_which_they_arrive(kernel, seed):
    # Where a sum comes within a few roundings of one half, another order gives another dot.
    coverage = noise(8, 12, seed)
    row, column = 5, 6
    bits, errors, _ = plain(coverage, kernel)
    sum_of_arrivals = errors[row, column] + bits[row, column] - coverage[row, column]
    nearly = 0.5 - sum_of_arrivals

    for roundings in range(-8, 9):
        coverage[row, column] = nearly + roundings * np.spacing(0.25)
        assert (diffuse(coverage, kernel) == plain(coverage, kernel)[0]).all()


@every_kernel
@pytest.mark.parametrize("columns", [1, 4, 5, 9])
def test_a_half_burns(kernel, columns):
    assert diffuse(np.full((1, columns), 0.5), kernel)[0, 0]


@every_kernel
def test_coverage_in_small_floats_is_diffused_in_large_ones(kernel):
    coverage = noise(40, 50).astype(np.float32)

    assert (diffuse(coverage, kernel) == plain(coverage, kernel)[0]).all()


@every_kernel
def test_coverage_that_lies_across_memory_gives_the_same_dots(kernel):
    coverage = noise(30, 40)

    assert (diffuse(coverage.T.copy().T, kernel) == diffuse(coverage, kernel)).all()


@every_kernel
def test_no_error_is_larger_than_one_half(kernel):
    assert np.abs(plain(noise(64, 64), kernel)[1]).max() <= 0.5


@every_kernel
def test_every_error_is_either_made_good_or_leaves_across_the_border(kernel):
    coverage = noise(64, 64)
    lost = plain(coverage, kernel)[2]

    assert diffuse(coverage, kernel).sum() - coverage.sum() == pytest.approx(-lost, abs=1e-9)


# Derived from |error| <= 1/2 and the weights that reach over the border; computed twice.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "side", "bound"),
    [
        ("floyd-steinberg", 64, 0.009735),
        ("floyd-steinberg", 128, 0.004875),
        ("floyd-steinberg", 256, 0.002439),
        ("jarvis", 64, 0.015844),
        ("jarvis", 128, 0.007949),
        ("jarvis", 256, 0.003981),
        ("stucki", 64, 0.014788),
        ("stucki", 128, 0.007417),
        ("stucki", 256, 0.003714),
    ],
)
def test_the_mean_stays_within_what_can_leave_across_the_border(name, side, bound):
    kernel = KERNELS[name]
    assert share_that_may_leave(side, side, kernel) / side**2 == pytest.approx(bound, abs=1e-6)

    off_by = [
        abs(diffuse(np.full((side, side), grey), kernel).mean() - grey)
        for grey in (1 / 16, 0.25, 0.37, 0.5, 0.8)
    ]

    assert max(off_by) <= bound


@pytest.mark.parametrize("code", [0, 16, 64, 96, 128, 192, 224, 255])
def test_another_programs_floyd_steinberg_burns_the_same_share(code):
    # Pillow's convert("1"): an independent Floyd-Steinberg, in integers, which cost it a little.
    theirs = np.asarray(Image.new("L", (256, 256), code).convert("1"), dtype=float).mean()

    ours = diffuse(np.full((256, 256), code / 255), FLOYD_STEINBERG).mean()

    assert ours == pytest.approx(theirs, abs=0.003)


def test_floyd_steinberg_makes_a_chequerboard_of_half_coverage():
    # A known artefact: computed here and in Pillow's convert("1") of code 128.
    bits = diffuse(np.full((64, 64), 0.5), FLOYD_STEINBERG)

    assert (bits[:, 1:] != bits[:, :-1]).all()
    assert (bits[1:] != bits[:-1]).all()


def low_power(pattern, grey):
    """Return the mean power below half the principal frequency; white noise has 1."""
    side = len(pattern)
    power = np.abs(np.fft.fft2(pattern - pattern.mean())) ** 2 / (side**2 * grey * (1 - grey))
    along = np.fft.fftfreq(side)
    frequency = np.hypot(along[:, np.newaxis], along)
    return power[(frequency > 0) & (frequency < 0.5 * np.sqrt(grey))].mean()


@every_kernel
@pytest.mark.parametrize("grey", [1 / 16, 1 / 8, 1 / 4])
def test_dots_are_blue_noise(kernel, grey):
    # R. A. Ulichney, Proc. IEEE 76(1), 1988; the formula for the principal frequency from memory.
    coverage = grey + (noise(200, 200) - 0.5) * 2e-3

    assert low_power(diffuse(coverage, kernel)[60:188, 40:168], grey) < 0.15
    assert 0.85 < low_power(noise(128, 128) < grey, grey) < 1.15


@every_kernel
@pytest.mark.parametrize("grey", [0.06, 0.93])
def test_the_first_rows_carry_dots_like_the_rest(kernel, grey):
    coverage = np.full((200, 200), grey)

    cold = diffuse(coverage, kernel)[:4]
    run_in = diffuse_evenly(coverage, kernel)[:4]

    assert cold.all() or not cold.any()
    assert run_in.mean() == pytest.approx(grey, abs=0.015)


@every_kernel
@pytest.mark.parametrize("shape", [(1, 1), (1, 30), (30, 1), (3, 4), (7, 90)])
def test_running_in_keeps_the_pictures_shape(kernel, shape):
    assert diffuse_evenly(noise(*shape), kernel).shape == shape


@pytest.mark.parametrize("name", HALFTONES)
@pytest.mark.parametrize("grey", [0.0, 1.0])
def test_bare_stays_bare_and_solid_stays_solid(name, grey):
    bits = HALFTONES[name](np.full((40, 50), grey, dtype=np.float32))

    assert bits.dtype == bool
    assert (bits == bool(grey)).all()


@every_kernel
@pytest.mark.parametrize("bands", [(70, 50, 80), (24, 1, 2, 173), (199, 1), (200,)])
def test_bands_give_the_dots_of_the_whole_picture_bit_for_bit(kernel, bands):
    coverage = noise(200, 41).astype(np.float32)
    parts = np.split(coverage, np.cumsum(bands)[:-1])

    made = list(diffuse_bands(parts, kernel))

    assert (np.concatenate(made) == diffuse_evenly(coverage, kernel)).all()


def test_the_threshold_burns_from_one_half_on():
    assert threshold(np.array([[0.0, 0.49, 0.5, 1.0]])).tolist() == [[False, False, True, True]]
