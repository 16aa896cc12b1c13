"""Every row of the fault tables is played, every scenario has its row, and marks name rows."""

import pytest

from architecture.fault_tables import BOX_FAULTS, LINK_FAULTS, TILE_FAULTS
from architecture.markers import marked
from etchpractice.scenario.shelf import SHELF, scenario_called, shelved

ROWS = {**LINK_FAULTS, **BOX_FAULTS, **TILE_FAULTS}


@pytest.mark.parametrize("row", ROWS)
def test_a_row_is_played(row):
    assert ROWS[row]
    assert all(scenario_called(name).is_file() for name in ROWS[row])


def test_no_test_is_marked_with_a_row_that_is_not_there():
    assert set(marked("fault")) <= set(ROWS)


def test_every_scenario_has_its_row():
    named = {name for scenarios in ROWS.values() for name in scenarios}
    files = [path for path in SHELF.rglob("*") if path.is_file()]

    assert named == {one.name for one in shelved()}
    assert len(named) == len(shelved()) == len(files)
