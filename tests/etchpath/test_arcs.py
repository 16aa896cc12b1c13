import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchpath.language.states import Carried, follow
from etchpath.motion.arcs import ArcWords, chord_counts, chord_ends, solve
from etchpath.motion.toolpath import Tracer
from support.harnesses.gcode_bench import inspected, kinds_of, lines_of, machine

NAN = math.nan


def arc(motion, dx, dy, i=NAN, j=NAN, r=NAN, *, start=(0.0, 0.0)):
    columns = (np.array([value], dtype=float) for value in (dx, dy, i, j, r))
    words = ArcWords(np.array([motion], dtype=np.int16), *columns)
    return solve(words, *(np.array([value]) for value in start))


# The report's own example (NISTIR 6556, 3.5.3), and further arcs worked by hand and by polyline.
@pytest.mark.parametrize(
    ("words", "start", "centre", "radius", "degrees", "length_mm"),
    [
        ((2, 3, 9, 3, 4), (7, 7), (10, 11), 5, -143.130102, 12.490458),
        ((3, 10, 10, 0, 10), (0, 0), (0, 10), 10, 90, 15.707963),
        ((2, 10, 10, 0, 10), (0, 0), (0, 10), 10, -270, 47.123890),
        ((2, 0, 0, 5, 0), (0, 0), (5, 0), 5, -360, 31.415927),
        ((3, 0, 0, 5, 0), (0, 0), (5, 0), 5, 360, 31.415927),
        ((2, 10, 15, NAN, NAN, 20), (0, 0), (19.855069, -2.403379), 20, -53.576426, 18.701701),
        ((2, 10, 15, NAN, NAN, -20), (0, 0), (-9.855069, 17.403379), 20, -306.423574, 106.962005),
        ((3, 10, 15, NAN, NAN, 20), (0, 0), (-9.855069, 17.403379), 20, 53.576426, 18.701701),
        ((2, 10, 10, NAN, NAN, 10), (0, 0), (10, 0), 10, -90, 15.707963),
        ((2, 10, 0, NAN, NAN, 5), (0, 0), (5, 0), 5, -180, 15.707963),
    ],
)
def test_worked_arcs_come_out_as_worked(words, start, centre, radius, degrees, length_mm):
    solved = arc(*words, start=start)

    found = (start[0] + solved.i[0], start[1] + solved.j[0])
    assert found == pytest.approx(centre, abs=1e-6)
    assert (solved.radius[0], math.degrees(solved.turn[0])) == pytest.approx(
        (radius, degrees), abs=1e-6
    )
    assert abs(solved.turn[0]) * solved.radius[0] == pytest.approx(length_mm, abs=1e-6)


def test_a_chord_leaves_the_arc_by_no_more_than_the_tolerance():
    # sagitta of a 0.1 mm chord on a radius of 5: 0.000250006 mm, and 50 chords for 0.01 mm
    solved = arc(2, 0, 0, 5, 0)

    assert chord_counts(solved, 0.01)[0] in {49, 50}  # the firmware rounds down
    x, y = chord_ends(solved, np.array([50]))
    middle = np.hypot((x[1:] + x[:-1]) / 2 - 5, (y[1:] + y[:-1]) / 2)
    assert 5 - middle.min() <= 0.01


@given(
    st.sampled_from([2, 3]),
    st.floats(-50, 50),
    st.floats(-50, 50),
    st.floats(0, 2 * math.pi),
    st.integers(1, 40),
)
def test_all_chords_end_on_the_circle_and_the_last_where_it_was_told(motion, i, j, angle, count):
    radius = math.hypot(i, j)
    dx, dy = i + radius * math.cos(angle), j + radius * math.sin(angle)

    solved = arc(motion, dx, dy, i, j)
    x, y = chord_ends(solved, np.array([count]))

    assert np.hypot(x - i, y - j) == pytest.approx(radius, abs=1e-6)
    assert (x[-1], y[-1]) == (dx, dy)
    assert 0 < abs(solved.turn[0]) <= 2 * math.pi + 1e-6


def test_arcs_and_lines_are_traced_in_the_order_of_the_file():
    lines = lines_of("G1X10F1000\nG2X20I5J0\nG1X30\nG3X30Y0I0J5\nX40I5J0")
    tracer = Tracer(machine())

    parts = [part for some in follow(lines, Carried()) for part in tracer.trace(some)]
    line = np.concatenate([part.line for part in parts])

    assert np.all(np.diff(line) >= 0)
    assert sorted(set(line.tolist())) == [1, 2, 3, 4, 5]
    ends = [parts[0].x_mm[np.flatnonzero(line == number)[-1]] for number in range(1, 6)]
    assert ends == [10, 20, 30, 30, 40]


def test_an_absurd_radius_does_not_ask_for_absurd_memory():
    report = inspected("G21G90F1000\nG2X1Y0I1000000J0\nG2X1Y1R1000000000\n" * 40)

    assert report.verdict == "refused"
    assert "outside the travel" in kinds_of(report)
