"""The list of mutants does not rot: each change still has its one place in the source."""

from pathlib import Path

import pytest

from measure.mutants import MUTANTS

ROOT = Path(__file__).resolve().parents[2]
FEWEST = 60


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_the_text_that_a_mutant_changes_stands_once_in_the_source(mutant):
    assert (ROOT / "daemon/etchdaemon" / mutant.file).read_text().count(mutant.text) == 1
    assert mutant.text != mutant.instead


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_the_tests_that_should_notice_a_mutant_are_there(mutant):
    assert mutant.tests
    assert all((ROOT / "tests" / name.partition("::")[0]).is_file() for name in mutant.tests)


def test_there_are_enough_of_them_and_each_has_a_name_of_its_own():
    assert len({mutant.name for mutant in MUTANTS}) == len(MUTANTS) >= FEWEST
