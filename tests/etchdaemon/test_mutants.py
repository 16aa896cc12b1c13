"""The list of mutants does not rot: each change still has its one place in the source."""

import ast
from pathlib import Path

import pytest

from measure.mutants import MUTANTS

ROOT = Path(__file__).resolve().parents[2]
FEWEST = 60


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_the_text_that_a_mutant_changes_stands_once_in_the_source(mutant):
    source = (ROOT / "daemon/etchdaemon" / mutant.file).read_text()

    assert source.count(mutant.text) == 1
    changed = ast.parse(source.replace(mutant.text, mutant.instead))  # a program all the same
    assert ast.dump(changed) != ast.dump(ast.parse(source))


def test_the_tests_that_should_notice_a_mutant_are_there():
    assert all(mutant.tests for mutant in MUTANTS)
    files = {name.partition("::")[0] for mutant in MUTANTS for name in mutant.tests}
    assert [file for file in files if not (ROOT / "tests" / file).is_file()] == []


def test_there_are_enough_of_them_and_each_has_a_name_of_its_own():
    assert len({mutant.name for mutant in MUTANTS}) == len(MUTANTS) >= FEWEST
