"""Every row of the fault tables names tests that are there, and every scenario has its row."""

import ast
from functools import cache

import pytest

from architecture.fault_tables import BOX_FAULTS, LINK_FAULTS, ROOT, SCENARIO, TILE_FAULTS
from etchpractice.scenario.shelf import SHELF, scenario_called, shelved

TABLES = LINK_FAULTS, BOX_FAULTS, TILE_FAULTS
ROWS = [(row, held_by) for table in TABLES for row, held_by in table.items()]


@cache
def names_in(path):
    """Return the names that stand at the top of a module of tests."""
    tree = ast.parse((ROOT / path).read_text())
    defined = {node.name for node in tree.body if hasattr(node, "name")}
    targets = [
        target for node in tree.body if isinstance(node, ast.Assign) for target in node.targets
    ]
    return defined | {target.id for target in targets if isinstance(target, ast.Name)}


@pytest.mark.parametrize(("row", "held_by"), ROWS, ids=[row for row, _ in ROWS])
def test_a_row_is_held_by_tests_that_exist(row, held_by):
    assert held_by
    for test in held_by:
        if test.startswith(SCENARIO):
            assert scenario_called(test.removeprefix(SCENARIO)).is_file()
            continue
        path, _, name = test.partition("::")
        assert (ROOT / path).is_file(), test
        assert not name or name in names_in(path), test


@pytest.mark.parametrize(("row", "held_by"), ROWS, ids=[row for row, _ in ROWS])
def test_a_row_is_played(row, held_by):
    assert any(test.startswith(SCENARIO) for test in held_by), row


def test_every_scenario_has_its_row():
    named = {
        test.removeprefix(SCENARIO)
        for _, held_by in ROWS
        for test in held_by
        if test.startswith(SCENARIO)
    }
    files = [path for path in SHELF.rglob("*") if path.is_file()]

    assert named == {one.name for one in shelved()}
    assert len(named) == len(shelved()) == len(files)
