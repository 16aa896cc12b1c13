import hashlib
import io
import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.writer.dots import Order, run_up_mm, write_job
from etchpath.writer.raster import mm_text
from etchwire.catalogue.heads import Head, Recipe, Register
from etchwire.sheet import Sheet
from support.harnesses.examples import examples
from support.samples.strokes import strokes

HEAD = Head(
    name="an invented head",
    rated_optical_w=12.0,
    spot_x_mm=0.08,
    spot_y_mm=0.08,
    is_spot_measured=True,
    max_s=1000.0,
    max_feed_mm_per_min=10000.0,
    acceleration_mm_per_s2=1000.0,
    travel_x_mm=200.0,
    travel_y_mm=200.0,
)
RECIPE = Recipe(
    surface="an invented tile", feed_mm_per_min=4000.0, power_ratio=0.6, line_spacing_mm=0.1
)


def written(bits, *, head=HEAD, recipe=RECIPE, **wishes):
    file = io.BytesIO()
    order = Order(title="a test", head=head, recipe=recipe, halftone="none", **wishes)
    sheet = write_job(np.array(bits, dtype=bool), file, order)
    return file.getvalue(), sheet


def test_a_small_picture_becomes_these_lines():
    gcode, sheet = written([[0, 1, 1, 0, 1], [0, 0, 0, 0, 0], [1, 0, 0, 0, 0]])

    assert gcode.decode().splitlines() == [
        "G21G90G94",
        "G17",
        "M4S0",
        "G90G0X.1Y.25",
        "G91G1X2.5S0F4000",
        "X.2S600",
        "X.1S0",
        "X.1S600",
        "X2.5S0",
        "G90G0X5.1Y.05",
        "G91G1X-2.5S0",
        "X-.1S600",
        "X-2.5S0",
        "M5",
        "G90G0X0Y0",
        "M2",
    ]
    assert [entry.row for entry in sheet.index] == [0, 2]


@examples(80)
@given(
    st.integers(1, 9)
    .flatmap(
        lambda columns: st.lists(
            st.lists(st.booleans(), min_size=columns, max_size=columns), min_size=1, max_size=6
        )
    )
    .filter(lambda rows: any(map(any, rows))),
    st.floats(0.03, 0.3),
    st.booleans(),
)
def test_every_dot_is_burnt_where_it_stands_and_nothing_else(rows, spacing, both):
    gcode, sheet = written(
        rows, recipe=replace(RECIPE, line_spacing_mm=spacing), is_both_directions=both
    )

    wanted = []
    for row, dots in enumerate(rows):
        y = sheet.picture.bottom_mm + (len(rows) - 1 - row + 0.5) * spacing
        place = 0
        for is_burnt, run in itertools.groupby(dots):
            length = len(list(run))
            if is_burnt:
                wanted.append((y, place, place + length))
            place += length
    found = sorted((round(-y, 6), *sorted((a, b))) for y, a, b, _ in strokes(gcode))
    assert len(found) == len(wanted)
    for (y, left, right), (minus_y, start, end) in zip(
        sorted(wanted, key=lambda w: (-w[0], w[1])), found, strict=True
    ):
        assert -minus_y == pytest.approx(y, abs=0.000501)
        assert start == pytest.approx(sheet.picture.left_mm + left * spacing, abs=0.000501)
        assert end == pytest.approx(sheet.picture.left_mm + right * spacing, abs=0.000501)


def test_run_ends_do_not_drift_along_a_row_of_a_thousand_runs():
    spacing = 25.4 / 300
    gcode, sheet = written([[1, 0] * 500], recipe=replace(RECIPE, line_spacing_mm=spacing))

    _, _, end, _ = strokes(gcode)[-1]
    assert end == pytest.approx(sheet.picture.left_mm + 999 * spacing, abs=0.000501)


def test_a_run_begins_and_ends_in_the_middle_of_a_dot_where_its_parts_say_so():
    gcode, sheet = written([[[0, 1], [1, 1], [0, 0]], [[0, 0], [1, 0], [0, 0]]])

    assert [stroke[1:3] for stroke in strokes(gcode)] == [
        pytest.approx((2.55, 2.7)), pytest.approx((2.65, 2.6)),
    ]  # fmt: skip
    assert (sheet.rows, sheet.columns, sheet.width_mm) == (2, 3, pytest.approx(0.3))
    assert sheet.coverage == pytest.approx(4 / 12)


def test_a_run_that_ends_within_a_dot_takes_no_digit_more_than_whole_dots_do():
    recipe = replace(RECIPE, line_spacing_mm=0.15)

    gcode, sheet = written([[[0, 1], [1, 0], [0, 1], [1, 0]]], recipe=recipe)

    # 0.075, 0.225, 0.375 and 0.525 mm, to a hundredth; a step is a hundredth and more
    ends = [end - sheet.picture.left_mm for stroke in strokes(gcode) for end in stroke[1:3]]
    assert ends == pytest.approx([0.08, 0.22, 0.38, 0.52])
    assert [line for line in gcode.split() if line.endswith(b"S600")] == [b"X.14S600"] * 2


@examples(40)
@given(st.integers(0, 2**24 - 1).filter(bool), st.floats(0.03, 0.3), st.booleans())
def test_whole_dots_given_in_parts_are_etched_as_whole_dots(pattern, spacing, both):
    bits = np.array([pattern >> number & 1 for number in range(24)], dtype=bool).reshape(4, 6)
    wishes = {"recipe": replace(RECIPE, line_spacing_mm=spacing), "is_both_directions": both}

    whole, in_parts = (written(one, **wishes) for one in (bits, bits[..., None].repeat(2, axis=2)))

    assert in_parts == whole


def test_the_run_up_reaches_the_speed_with_a_margin():
    # v²/2a = 2.222 mm at 4000 mm/min and 1000 mm/s²: elementary mechanics
    assert 2.222222 * 1.1 <= run_up_mm(HEAD, 4000.0) <= 2.6


def test_rows_run_both_ways_in_turn_counting_only_rows_with_dots():
    dots = np.zeros((205, 3), dtype=bool)
    dots[[0, 1, 99, 100, 204]] = True

    gcode, _ = written(dots)

    assert [end > start for _, start, end, _ in strokes(gcode)] == [True, False, True, False, True]


def test_rows_may_all_run_one_way():
    gcode, _ = written(np.ones((3, 4)), is_both_directions=False)

    assert all(end > start for _, start, end, _ in strokes(gcode))


def test_each_row_starts_ahead_along_its_own_direction_by_the_measured_correction():
    lagging = replace(HEAD, register=Register(beam_lag_s=0.0005, slack_mm=0.04))
    lead_mm = 4000 / 60 * 0.0005 + 0.02

    plain = strokes(written(np.ones((2, 10)), at_x_mm=10.0)[0])
    moved = strokes(written(np.ones((2, 10)), head=lagging, at_x_mm=10.0)[0])

    shifts = [new[1] - old[1] for old, new in zip(plain, moved, strict=True)]
    assert shifts == pytest.approx([-lead_mm, lead_mm], abs=0.0006)
    assert [round(new[2] - new[1], 6) for new in moved] == [1.0, -1.0]


def test_nothing_goes_below_the_origin_unless_it_is_placed_there():
    lagging = replace(HEAD, register=Register(beam_lag_s=0.0005, slack_mm=0.04))

    _, sheet = written(np.ones((4, 10)), head=lagging)

    assert sheet.motion.left_mm >= 0
    assert sheet.motion.bottom_mm >= 0


def test_the_index_points_at_the_first_byte_of_each_row_and_its_time_rises():
    dots = np.random.default_rng(5).random((120, 40)) < 0.4

    gcode, sheet = written(dots)

    lines = gcode.splitlines(keepends=True)
    for entry in sheet.index:
        assert gcode[entry.byte :].startswith(lines[entry.line - 1])
        assert lines[entry.line - 1].startswith(b"G90G0X")
    assert lines[sheet.end_line - 1] == b"M5\n"
    times = [entry.at_s for entry in sheet.index] + [sheet.predicted_s]
    assert all(one < two for one, two in itertools.pairwise(times))


def test_the_sheet_describes_the_file_and_survives_a_journey_as_json():
    gcode, sheet = written(np.random.default_rng(6).random((20, 30)) < 0.5)

    assert sheet.gcode_sha256 == hashlib.sha256(gcode).hexdigest()
    assert sheet.gcode_bytes == len(gcode)
    assert sheet.gcode_lines == gcode.count(b"\n")
    assert Sheet.from_json(sheet.to_json()) == sheet


@pytest.mark.parametrize(("power_ratio", "least_bytes"), [(0.6, 7.6), (1.0, 8.1)])
def test_a_photo_like_picture_takes_few_bytes_a_run(power_ratio, least_bytes):
    # random dots have as short runs as an error diffusion at its middle tone
    dots = np.random.default_rng(7).random((100, 1000)) < 0.5

    _, sheet = written(dots, recipe=replace(RECIPE, power_ratio=power_ratio))

    runs = sheet.gcode_lines - 6 - 3 * len(sheet.index)
    assert sheet.gcode_bytes / runs <= least_bytes


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"line_spacing_mm": 0.3}, "wide"),
        ({"feed_mm_per_min": 12000.0}, "faster"),
        ({"power_ratio": 0.0001}, "power"),
    ],
)
def test_a_job_beyond_the_machine_is_refused_before_a_byte_is_written(changes, word):
    file = io.BytesIO()
    order = Order(title="", head=HEAD, recipe=replace(RECIPE, **changes), halftone="")

    with pytest.raises(JobDoesNotFit, match=word):
        write_job(np.ones((10, 1000), dtype=bool), file, order)

    assert file.getvalue() == b""


def test_a_white_picture_makes_no_job():
    with pytest.raises(NothingToEtch):
        written(np.zeros((3, 3)))


@pytest.mark.parametrize(
    ("um", "text"),
    [(0, b"0"), (100, b".1"), (-100, b"-.1"), (2500, b"2.5"), (-1, b"-.001"), (120000, b"120")],
)
def test_millimetres_take_the_fewest_characters(um, text):
    assert mm_text(um) == text
