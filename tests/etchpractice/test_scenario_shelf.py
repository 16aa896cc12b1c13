"""The scenarios that come with the program."""

import pytest

from etchpractice.scenario.script import read_scenario
from etchpractice.scenario.shelf import GROUPS, NoSuchScenario, scenario_called, shelved
from etchpractice.tile.imperfections import NAMES, NONE


@pytest.mark.parametrize("one", shelved(), ids=lambda one: one.name)
def test_every_scenario_can_be_read_and_is_found_by_its_name(one):
    assert read_scenario(one.path.read_text()).about == one.about
    assert scenario_called(one.name) == one.path


def test_every_group_has_scenarios():
    assert {one.group for one in shelved()} == set(GROUPS)


def test_of_an_unknown_scenario_the_nearest_is_named():
    with pytest.raises(NoSuchScenario, match=r"“flam” is not known\. Did you mean “flame”\?"):
        scenario_called("flam")


TILE = tuple(one for one in shelved() if one.group == "tile")


@pytest.mark.parametrize("scenario", TILE, ids=lambda one: one.name)
def test_what_goes_wrong_on_a_tile_is_said_to_be_invented_and_how_far_it_is_known(scenario):
    assert scenario.known.startswith("Invented.")
    assert "common practice, no source" in scenario.known
    assert "not known" in scenario.known


@pytest.mark.parametrize("name", NAMES)
def test_every_imperfection_is_off_unless_asked_for_and_has_a_scenario(name):
    played = [read_scenario(one.path.read_text("utf-8")).imperfections for one in TILE]

    assert getattr(NONE, name) == 0
    assert any(name in imperfections for imperfections in played)
