"""The scenarios that come with the program."""

import pytest

from etchpractice.scenario.script import read_scenario
from etchpractice.scenario.shelf import GROUPS, NoSuchScenario, scenario_called, shelved


@pytest.mark.parametrize("one", shelved(), ids=lambda one: one.name)
def test_every_scenario_can_be_read_and_is_found_by_its_name(one):
    assert read_scenario(one.path.read_text()).about == one.about
    assert scenario_called(one.name) == one.path


def test_every_group_has_scenarios():
    assert {one.group for one in shelved()} == set(GROUPS)


def test_of_an_unknown_scenario_the_nearest_is_named():
    with pytest.raises(NoSuchScenario, match=r"“flam” is not known\. Did you mean “flame”\?"):
        scenario_called("flam")
