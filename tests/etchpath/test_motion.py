import itertools
import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchpath.errors import UnreadableMachine
from etchpath.machine import Machine
from etchpath.motion.planner import Moves, Planner, Travel
from etchwire.controller.profile import EIGHT_BIT
from support.harnesses.examples import examples


def machine(**changes):
    """A machine whose controller takes lines in as fast as they are wanted."""
    figures = {
        "costs": EIGHT_BIT.costs.times(1e-6),
        "travel_x_mm": 400.0,
        "travel_y_mm": 400.0,
        "max_feed_x_mm_per_min": 10000.0,
        "max_feed_y_mm_per_min": 10000.0,
        "acceleration_x_mm_per_s2": 1000.0,
        "acceleration_y_mm_per_s2": 1000.0,
        "max_s": 1000.0,
    }
    return Machine(**figures | changes)


def moves(steps, feed_mm_per_min=4000.0, stops=()):
    dx, dy = np.array(steps, dtype=float).reshape(-1, 2).T
    feed = np.full(len(dx), feed_mm_per_min / 60)
    return Moves(dx, dy, feed, np.isin(np.arange(len(dx)), stops))


def run(planner, *parts) -> Travel:
    done = [planner.add(part) for part in parts] + [planner.finish()]
    return Travel(*(np.concatenate([getattr(d, name) for d in done]) for name in Travel.__slots__))


# Elementary mechanics, t = L/v + v/a or 2 sqrt(L/a); values derived, checked by quadrature.
@pytest.mark.parametrize(
    ("length_mm", "seconds", "peak_mm_per_min"),
    [
        (0.1, 0.0200000, 600),
        (1, 0.0632456, 1897.367),
        (2, 0.0894427, 2683.282),
        (4.444444, 0.1333333, 4000),
        (10, 0.2166667, 4000),
        (100, 1.5666667, 4000),
        (150, 2.3166667, 4000),
    ],
)
def test_a_move_from_rest_to_rest_takes_the_time_of_mechanics(length_mm, seconds, peak_mm_per_min):
    travel = run(Planner(machine()), moves([(length_mm, 0)]))

    assert travel.seconds[0] == pytest.approx(seconds, abs=1e-6)
    assert travel.peak_mm_per_s[0] * 60 == pytest.approx(peak_mm_per_min, rel=1e-4)


def test_a_row_of_100_mm_with_its_run_ups_takes_1_633_seconds():
    # 100 / v + 2 v / a with v²/2a = 2.222 mm at each end: elementary mechanics
    ramp = (4000 / 60) ** 2 / 2000

    travel = run(Planner(machine()), moves([(ramp, 0), (100, 0), (ramp, 0)]))

    assert travel.seconds.sum() == pytest.approx(1.6333333, abs=1e-6)
    assert travel.entry_mm_per_s[1] * 60 == pytest.approx(4000)


# Circle through a corner at the junction deviation: r = d sin(t/2) / (1 - sin(t/2)), v = sqrt(a r);
# 0.01 mm and an acceleration of 1000 mm/s² along the corner's own direction.
@pytest.mark.parametrize(
    ("between_degrees", "speed_mm_per_s"),
    [(30, 1.868685), (60, 3.162278), (120, 8.039964), (135, 11.016838), (170, 51.165539)],
)
def test_a_corner_is_taken_at_the_speed_of_the_junction_deviation(between_degrees, speed_mm_per_s):
    turn = math.radians(180 - between_degrees)
    bisector = turn / 2 + math.pi / 2  # the direction in which the corner accelerates
    first = -bisector  # turned so that it lies along x, where one axis gives the limit
    steps = [
        (50 * math.cos(first), 50 * math.sin(first)),
        (50 * math.cos(first + turn), 50 * math.sin(first + turn)),
    ]

    travel = run(Planner(machine()), moves(steps))

    assert travel.exit_mm_per_s[0] == pytest.approx(speed_mm_per_s, rel=1e-5)


def test_a_right_angle_between_the_axes_uses_the_acceleration_of_both():
    # sqrt(1414 * 0.024142): the corner's direction lies at 45 degrees
    travel = run(Planner(machine()), moves([(50, 0), (0, 50)]))

    assert travel.exit_mm_per_s[0] == pytest.approx(math.sqrt(1000 * math.sqrt(2) * 0.02414214))


def test_a_reversal_comes_to_rest():
    travel = run(Planner(machine()), moves([(50, 0), (-50, 0)]))

    assert travel.exit_mm_per_s[0] == 0


# sqrt(2 a d (N - 1)), and seen on host builds, whose processor is never the limit: single 0.1 mm
# blocks hold 3175 mm/min whatever is asked. What a real one does is in test_line_intake.
@pytest.mark.parametrize(
    ("length_mm", "asked", "held"),
    [(0.1, 4000, 3175), (0.1, 8000, 3175), (0.5, 8000, 7099), (0.1, 2000, 2000)],
)
def test_fine_detail_holds_the_speed_that_the_firmware_was_seen_to_hold(length_mm, asked, held):
    travel = run(Planner(machine()), moves([(length_mm, 0)] * 400, asked))

    assert travel.exit_mm_per_s[200] * 60 == pytest.approx(held, abs=1)


def test_a_controller_of_a_hundred_blocks_reaches_8000_in_fine_detail():
    # measured: 8000 steady, where 15 blocks hold 3175
    travel = run(Planner(machine(planner_blocks=100)), moves([(0.1, 0)] * 1000, 8000))

    assert travel.exit_mm_per_s[500] * 60 == pytest.approx(8000)


def test_a_block_speeds_up_inside_by_what_its_own_length_allows():
    # firmware trace: 3175 at the ends, 3231 peak
    travel = run(Planner(machine()), moves([(0.1, 0)] * 400, 8000))

    assert travel.peak_mm_per_s[200] * 60 == pytest.approx(3231, abs=1)


def step_by_step(planned_moves, of_machine):
    """The same planner as loops: for each running block, look over what the planner holds."""
    whole = list(zip(planned_moves.dx_mm, planned_moves.dy_mm, strict=True))
    length = [math.hypot(*move) for move in whole]
    unit = [(x / s, y / s) for (x, y), s in zip(whole, length, strict=True)]
    accelerations = (of_machine.acceleration_x_mm_per_s2, of_machine.acceleration_y_mm_per_s2)
    reaches = (of_machine.max_feed_x_mm_per_min / 60, of_machine.max_feed_y_mm_per_min / 60)

    def along(u, limits):
        return min(m / abs(part) for m, part in zip(limits, u, strict=True) if part)

    limit = [
        min(feed, along(u, reaches))
        for feed, u in zip(planned_moves.feed_mm_per_s, unit, strict=True)
    ]
    corner = [0.0]
    for one, two in itertools.pairwise(unit):
        cosine = one[0] * two[0] + one[1] * two[1]
        if abs(cosine) >= 0.999999:
            corner.append(math.inf if cosine > 0 else 0.0)
            continue
        bend = (two[0] - one[0], two[1] - one[1])
        size = math.hypot(*bend)
        sine = math.sqrt((1 + cosine) / 2)
        radius = of_machine.junction_deviation_mm * sine / (1 - sine)
        corner.append(along((bend[0] / size, bend[1] / size), accelerations) * radius)
    total, entry_sq = 0.0, 0.0
    for i in range(len(length)):
        held = range(i + 1, min(i + of_machine.planner_blocks, len(length)))
        exit_sq = 0.0
        for j in reversed(held):
            gain = 2 * along(unit[j], accelerations) * length[j]
            stop = 0.0 if planned_moves.stops_before[j] else math.inf
            entry_limit = min(corner[j], limit[j] ** 2, limit[j - 1] ** 2, stop)
            exit_sq = min(exit_sq + gain, entry_limit)
        a = along(unit[i], accelerations)
        exit_sq = min(exit_sq, entry_sq + 2 * a * length[i])
        peak = min(limit[i], math.sqrt((entry_sq + exit_sq) / 2 + a * length[i]))
        level = length[i] - (2 * peak**2 - entry_sq - exit_sq) / (2 * a)
        total += (2 * peak - math.sqrt(entry_sq) - math.sqrt(exit_sq)) / a + max(0, level) / peak
        entry_sq = exit_sq
    return total


STEPS = st.lists(
    st.tuples(st.integers(-3000, 3000), st.integers(-3000, 3000)).filter(any),
    min_size=1,
    max_size=60,
)


@examples(60)
@given(STEPS, st.integers(1, 20), st.data())
def test_arrays_and_loops_agree_however_the_moves_are_cut_into_parts(steps, blocks, data):
    cut = data.draw(st.integers(0, len(steps)))
    stops = data.draw(st.sets(st.integers(0, len(steps) - 1), max_size=3))
    steps_mm = [(x / 1000, y / 1000) for x, y in steps]
    small = machine(planner_blocks=blocks, acceleration_y_mm_per_s2=600.0)
    whole = moves(steps_mm, stops=list(stops))
    names = [name for name in Moves.__slots__ if name != "words"]
    parts = [
        Moves(*(getattr(whole, n)[part] for n in names)) for part in (slice(cut), slice(cut, None))
    ]

    travel = run(Planner(small), *parts)

    assert len(travel.seconds) == len(steps)
    assert travel.seconds.sum() == pytest.approx(step_by_step(whole, small), rel=1e-6)


def test_a_machine_description_names_the_entry_at_fault(tmp_path):
    table = machine().to_table()
    file = tmp_path / "machine.toml"
    costs = table.pop("costs")
    lines = [f"{name} = {json.dumps(value)}" for name, value in table.items()]
    lines += ["[costs]", *(f"{name} = {value}" for name, value in costs.items())]
    file.write_text("\n".join(lines))

    assert Machine.from_toml(file) == machine()
    with pytest.raises(UnreadableMachine, match="planner_blocks"):
        Machine.from_table(table | {"planner_blocks": 0})
    for name in ("travel_x_mm", "acceleration_x_mm_per_s2", "planner_blocks", "steps_per_mm"):
        with pytest.raises(UnreadableMachine, match=f"{name} cannot be 1000000000000"):
            Machine.from_table(table | {name: 10**12})
    with pytest.raises(UnreadableMachine, match="junction_deviation_mm cannot be 5e-324"):
        Machine.from_table(table | {"junction_deviation_mm": 5e-324})
    with pytest.raises(UnreadableMachine, match="'wheels'"):
        Machine.from_table(table | {"wheels": 3})
