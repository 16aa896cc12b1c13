"""Rows on the tile: one that is missing and one that is burnt twice are found."""

import pytest

from etchpractice.machine import PracticeMachine
from etchpractice.scenario.rows import SEAM_PIECES, amiss, row_light

EVEN = [[2.0] * 20 for _ in range(6)]


def changed(row, piece, factor, pieces=1):
    light = [list(one) for one in EVEN]
    for number in range(piece, piece + pieces):
        light[row][number] *= factor
    return light


def test_an_even_grey_is_as_it_should_be():
    assert amiss(EVEN) is None


@pytest.mark.parametrize(
    ("factor", "said"), [(0.0, "row 3 is missing"), (2.0, "row 3 is burnt twice")]
)
def test_a_row_that_is_not_there_once_is_named(factor, said):
    assert said in amiss(changed(3, 0, factor, pieces=20))


@pytest.mark.parametrize("factor", [0.0, 2.0])
def test_a_seam_may_be_short_and_no_longer(factor):
    assert amiss(changed(2, 5, factor, pieces=SEAM_PIECES)) is None
    assert amiss(changed(2, 5, factor, pieces=SEAM_PIECES + 1)) is not None


def test_a_tile_that_nothing_was_burnt_on_misses_its_first_row():
    assert "row 0 is missing" in amiss([[0.0] * 8 for _ in range(3)])


def test_light_is_counted_by_row_from_the_top_where_it_fell():
    machine = PracticeMachine()
    machine.open_port()
    machine.advance(1.0)
    machine.write(b"G21G90\nM3S1000\nG0X1Y.25\nG1X3F1000\nM5\nG0X0Y0\n")
    machine.advance(5.0)

    light = row_light(machine.tile, (0.0, 0.0, 4.0, 0.3), rows=3, pieces=4)

    assert [[piece > 0 for piece in row] for row in light][1:] == [[False] * 4] * 2
    assert light[0][1] == pytest.approx(light[0][2], rel=0.1)
    assert light[0][3] < light[0][1] / 4
