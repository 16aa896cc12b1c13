"""Faults that are played: only with a practice machine, one at a time, told line by line."""

import html
import re
import sys

import pytest

from etchpractice.scenario.shelf import shelved
from etchwarden.practice_session.scenario_stage import scenario_runner
from etchweb.app import create_app
from etchweb.auth.codes import form_token
from etchweb.auth.store import Store
from etchweb.practice.scenario_runner import Outcome, Scenario, ScenarioRunner
from etchweb.practice.scenario_views import DRILLS, add_scenarios
from support.fakes.fake_daemon import FakeDaemon

LID = Scenario("lid", "The box", "The lid is opened.")
FAN = Scenario("fan", "The box", "The fan <stops>.")
COMES_TRUE = f"""
from etchpractice.scenario.play import Occurrence
from etchwarden.practice_session.scenario import print_json
print_json({LID.about!r})
print_json(Occurrence(1.5, 'The lid opens.'))
print_json('That was all.')
"""
PATIENCE_S = 60.0


class House:
    """A page with a runner that plays `script`, in place of a practice session."""

    def __init__(self, folder, script, program=sys.executable):
        self.app = create_app(FakeDaemon(), folder, open_to_loopback=True, machine=lambda *_: None)
        self.runner = ScenarioRunner([LID, FAN], lambda _name: [program, "-c", script])
        add_scenarios(self.app, self.runner)
        self.token = form_token(Store(folder).secret, "loopback")

    def press(self, path, **form):
        return self.app.test_client().post(
            path, data={"form_token": self.token, **form}, headers={"Origin": "http://localhost"}
        )

    def look(self, path="/plays"):
        return self.app.test_client().get(path)

    def wait(self):
        assert self.runner.wait(PATIENCE_S)


@pytest.fixture
def house(tmp_path):
    return lambda script: House(tmp_path, script)


def test_without_a_practice_machine_nothing_can_be_played(phone):
    assert phone.look("/plays").status_code == 404


def test_every_fault_is_offered_in_its_group(house):
    house = house(COMES_TRUE)
    text = house.look("/plays?find=").text

    assert re.findall(r'name="name" value="(\w+)"', text) == ["lid", "fan"]
    assert "The box (2)" in text
    assert "The fan &lt;stops&gt;." in text
    assert 'href="/plays"' in house.look("/practice").text


def test_eight_drills_in_plain_words_stand_first_and_all_others_behind_a_link(tmp_path):
    app = create_app(FakeDaemon(), tmp_path, open_to_loopback=True, machine=lambda *_: None)
    add_scenarios(app, scenario_runner())

    text = html.unescape(app.test_client().get("/plays").text)

    assert re.findall(r'name="name" value="(\w+)"', text) == list(DRILLS)
    assert len(DRILLS) == 8
    assert all(words in text for words in DRILLS.values())
    assert 'href="/plays?find="' in text


def test_faults_are_found_by_the_words_of_what_happens(house):
    house = house(COMES_TRUE)

    found = house.look("/plays?find=STOPS+fan").text

    assert re.findall(r'name="name" value="(\w+)"', found) == ["fan"]
    assert '<details class="box" open>' in found
    assert "No matches." in house.look("/plays?find=rain").text


@pytest.mark.slow
def test_what_is_played_is_told_and_so_is_its_end(house):
    house = house(COMES_TRUE)
    assert house.press("/plays/begin", name="lid").status_code == 303
    house.wait()

    assert house.look("/plays/now.json").json == {
        "about": "The lid is opened.",
        "told": [
            {"at": "1.500 s", "sentence": "The lid opens."},
            {"at": "", "sentence": "That was all."},
        ],
        "is_over": True,
        "outcome": Outcome.AS_WRITTEN.value,
    }
    assert "The lid opens." in house.look().text


def test_what_went_wrong_before_the_play_is_shown_in_its_words(house):
    house = house("print('Error: no room is left.'); print('7'); raise SystemExit(1)")
    house.press("/plays/begin", name="lid")
    house.wait()

    told = house.look("/plays/now.json").json["told"]
    assert [one["sentence"] for one in told] == ["Error: no room is left.", "7"]


def test_what_does_not_come_as_written_is_said(house):
    house = house("raise SystemExit(1)")
    house.press("/plays/begin", name="fan")
    house.wait()

    assert Outcome.OTHERWISE.value in house.look().text


def test_one_is_played_at_a_time_and_can_be_ended(house):
    house = house("import signal; signal.pause()")
    house.press("/plays/begin", name="lid")

    assert house.press("/plays/begin", name="fan").status_code == 409
    assert "It is running." in house.look().text

    house.press("/plays/end")
    house.wait()
    assert Outcome.ENDED.value in house.look().text


def test_nothing_else_can_be_played_and_ending_nothing_is_harmless(house):
    house = house(COMES_TRUE)

    assert house.press("/plays/begin", name="../flame").status_code == 404
    assert house.press("/plays/begin").status_code == 404
    assert house.press("/plays/end").status_code == 303
    assert house.runner.run is None


def test_a_computer_that_can_start_nothing_says_so_and_may_be_asked_again(tmp_path):
    house = House(tmp_path, COMES_TRUE, program="/nowhere/at/all")

    assert house.press("/plays/begin", name="lid").status_code == 503
    assert house.press("/plays/begin", name="lid").status_code == 503


def test_the_page_of_a_practice_offers_every_scenario_that_comes_with_the_program():
    assert [scene.name for scene in scenario_runner().scenarios] == [one.name for one in shelved()]
