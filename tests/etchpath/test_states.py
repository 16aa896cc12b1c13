import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etchpath.language.dialect import Event, Mode, Number
from etchpath.language.states import Carried, follow
from support.harnesses.gcode_bench import lines_of
from support.samples.line_reader import read_line


def step_by_step(texts):
    """Follow a file line by line: place from the set origin, beam and power after each."""
    work, place, modes = [0.0, 0.0], [0.0, 0.0], [0, 90, 21, 5]
    power = feed = math.nan
    for text in texts:
        reading = read_line(text)
        now = [new if new >= 0 else old for new, old in zip(reading.modes, modes, strict=True)]
        scale = 25.4 if now[Mode.UNITS] == 20 else 1.0
        axes = reading.numbers[:2]
        new_feed = reading.numbers[Number.F] * scale
        moves = any(not math.isnan(value) for value in axes)
        sets_origin = reading.events & Event.SETS_ORIGIN
        asked = feed if math.isnan(new_feed) else new_feed
        has_no_feed = moves and not sets_origin and now[0] == 1 and not asked > 0
        has_spare_radius = not math.isnan(reading.numbers[Number.R])  # there is no arc here
        if has_no_feed or has_spare_radius:  # the controller refuses the line whole
            yield tuple(place), modes[Mode.SPINDLE], power
            continue
        modes = now
        feed = feed if math.isnan(new_feed) else new_feed
        power = power if math.isnan(reading.numbers[Number.S]) else reading.numbers[Number.S]
        if reading.events & Event.CLEARS_ORIGIN:
            work = list(place)
        for axis, value in enumerate(axes):
            if math.isnan(value):
                continue
            is_set = modes[Mode.DISTANCE] == 90 or sets_origin
            target = value * scale if is_set else work[axis] + value * scale
            place[axis] += 0 if sets_origin else target - work[axis]
            work[axis] = target
        yield tuple(place), modes[Mode.SPINDLE], power


TEXT = st.one_of(
    st.sampled_from(["G90", "G91", "G20", "G21", "G0", "G1F9", "M3", "M4S5", "M5", "S7", "M2"]),
    st.sampled_from(["G92X0", "G92X3Y4", "G92.1", "", "G4P1", "G90G0X1", "G91G1X2F5", "F0"]),
    st.sampled_from(["F7R1", "G1F3R1", "G0R1", "G1X1R2"]),
    st.builds("X{}".format, st.integers(-9, 9)),
    st.builds("X{}Y{}S{}".format, st.integers(-9, 9), st.integers(-9, 9), st.integers(0, 9)),
    st.builds("Y{}".format, st.integers(-9, 9)),
)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.lists(TEXT, min_size=1, max_size=30), st.data())
def test_columns_and_single_steps_follow_a_file_alike_however_it_is_cut(texts, data):
    cut = data.draw(st.integers(0, len(texts)))
    carried = Carried()

    found = []
    for part in (texts[:cut], texts[cut:]):
        if part:
            for states in follow(lines_of("\n".join(part)), carried):
                columns = (states.x_mm, states.y_mm, states.spindle, states.power_s)
                found += zip(*columns, strict=True)

    wanted = list(step_by_step(texts))
    for (x, y, spindle, power), (place, wanted_spindle, wanted_power) in zip(
        found, wanted, strict=True
    ):
        assert (x, y) == pytest.approx(place, abs=1e-9)
        assert spindle == wanted_spindle
        assert np.array_equal(power, wanted_power, equal_nan=True)


def test_an_inch_is_25_4_millimetres_for_places_arcs_and_feeds():
    carried = Carried()

    (states,) = follow(lines_of("G20G1X1F100\nG2X2I.5J0"), carried)

    assert states.x_mm.tolist() == pytest.approx([25.4, 50.8])
    assert states.feed_mm_per_min.tolist() == [2540.0, 2540.0]
    assert states.scale[1] == 25.4


def test_relative_lines_do_not_drift():
    (states,) = follow(lines_of("G91G1F9\n" + "\n".join(["X.1"] * 100_000)), Carried())

    assert states.x_mm[-1] == pytest.approx(10_000, abs=1e-6)
