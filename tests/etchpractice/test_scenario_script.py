"""A scenario in TOML: what it may say, and every fault in it named."""

import pytest

from etchpractice.box.board import Board
from etchpractice.control import CABLE_VERBS, PROCESS_VERBS
from etchpractice.controller.faults import Faults
from etchpractice.machine import PracticeMachine
from etchpractice.scenario.events import EVENTS, Actor
from etchpractice.scenario.script import Begins, FaultyScenario, read_scenario

WHOLE = """
about = "The lid opens at row 4."
box = "attendance = {round_every_min = 0.1}"
begins = "loaded"
firmware = "32-bit"
real_time = true
baud = 57600

[picture]
rows = 12
columns = 300
constant_power = true
pause_in_row = 7

[[step]]
do = "get ready and start"

[[step]]
at_row = 4
after_s = 1
do = "contact chatters"
name = "lid"
seconds = 2
expect = { beam = "off", trips = ["lid closed"] }
within_s = 0.5
for_s = 3
"""


def test_every_entry_arrives_where_it_belongs():
    scenario = read_scenario(WHOLE)

    assert (scenario.begins, scenario.firmware) == (Begins.LOADED, "32-bit")
    assert scenario.needs_real_time
    assert scenario.box == "attendance = {round_every_min = 0.1}"
    assert (scenario.baud, scenario.picture.pauses_in_row) == (57600, 7)
    assert (scenario.picture.rows, scenario.picture.columns) == (12, 300)
    assert scenario.picture.has_constant_power


def test_a_step_is_due_at_its_moment_and_has_its_event_and_what_must_come_of_it():
    *_, step = read_scenario(WHOLE).steps

    assert (step.moment.row, step.moment.after_s) == (4, 1.0)
    assert step.event.parameters == {"name": "lid", "seconds": 2.0}
    assert str(step.event) == "The contact “lid” chatters at 1 kHz for 2 s."
    assert [str(one) for one in step.expected] == ["the beam is off", "tripped: lid closed"]
    assert (step.within_s, step.for_s) == (0.5, 3.0)


@pytest.mark.parametrize(
    ("expected", "hears", "reads"),
    [('beam = "off"', False, False), ('buzzer = "on"', True, False), ('told = "x"', False, True)],
)
def test_what_is_expected_says_whether_buzzer_and_alerts_have_a_part_in_it(expected, hears, reads):
    scenario = read_scenario(f'about = "x"\n[[step]]\nexpect = {{ {expected} }}')

    assert (scenario.hears_buzzer, scenario.reads_alerts) == (hears, reads)


def test_getting_ready_is_what_a_person_does_one_after_the_other():
    steps = read_scenario(WHOLE).steps[:3]

    assert [step.event.kind.verb for step in steps] == ["arm", "press_button", "start"]


HEAD = 'about = "x"\n[[step]]\n'
EXPECT = "expect = { beam = 'off' }\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("about = ", "not TOML"),
        (f"[[step]]\n{EXPECT}", "“about” is missing"),
        ('about = "x"', "nothing is expected"),
        (f'abuot = "x"\n{HEAD}{EXPECT}', "“abuot” is not known. Did you mean “about”?"),
        (f'begins = "anywhere"\n{HEAD}{EXPECT}', "“begins” is not known"),
        (f'{HEAD}do = "lid opend"\n{EXPECT}', "step 1: “lid opend” is not known. Did you mean"),
        (f'{HEAD}do = "line refused"\n{EXPECT}', "“line refused” needs “code”, a whole number"),
        (f'{HEAD}do = "alarm"\nnumber = 1.5\n{EXPECT}', "“number” must be a whole number"),
        (f'{HEAD}do = "contact opens"\nname = "lit"\n{EXPECT}', "Did you mean “lid”?"),
        (f'{HEAD}do = "lid opens"\ncode = 3\n{EXPECT}', "“code” is not known"),
        (f"{HEAD}at_row = -1\n{EXPECT}", "“at_row” must be at least 0"),
        (f"{HEAD}at_row = true\n{EXPECT}", "“at_row” must be a whole number, not True"),
        (f"{HEAD}within_s = nan\n{EXPECT}", "“within_s” must be at least 0"),
        (f'{HEAD}within_s = "soon"\n{EXPECT}', "“within_s” must be a number"),
        (f"{HEAD}at_s = 3", "nothing is done and nothing expected"),
        (f"{HEAD}expect = {{ beem = 'off' }}", "“beem” is not known. Did you mean “beam”?"),
        (f"{HEAD}expect = {{ beam = 'dark' }}", "“beam” must be one of “on”, “off”"),
        (f"{HEAD}expect = {{ trips = 'lid closed' }}", "“trips” must be a list of texts"),
        (f"{HEAD}expect = {{ trips = [3] }}", "“trips” must be a list of texts"),
        (f"{HEAD}expect = 3", "“expect” must be a table"),
        ("about = 'x'\nstep = 3", "“step” must be written as [[step]]"),
        ("about = 'x'\nstep = [3]", "“step” must be written as [[step]]"),
        (f"picture = 4\n{HEAD}{EXPECT}", "“picture” must be a table"),
        (f"{HEAD}{EXPECT}[picture]\nrows = 0", "[picture]: “rows” must be at least 1"),
        (
            f"{HEAD}{EXPECT}[picture]\nrows = 4\npause_in_row = 4",
            "“pause_in_row” must be less than 4",
        ),
        (f"baud = 300\n{HEAD}{EXPECT}", "“baud” must be at least 1200"),
        (f"{HEAD}{EXPECT}[picture]\nline = 1", "[picture]: “line” is not known"),
    ],
)
def test_a_fault_is_named_with_its_place(text, said):
    with pytest.raises(FaultyScenario) as refused:
        read_scenario(text)

    assert said in str(refused.value)


def test_all_faults_are_named_at_once():
    with pytest.raises(FaultyScenario) as refused:
        read_scenario(f'{HEAD}do = "x"\nwithin_s = -1\nexpect = {{ beam = 3 }}\n')

    assert len(refused.value.faults) == 3


@pytest.mark.parametrize(("do", "needs_page"), [("page killed", True), ("daemon killed", False)])
def test_a_page_is_needed_where_something_happens_to_it(do, needs_page):
    assert read_scenario(f'{HEAD}do = "{do}"\n{EXPECT}').needs_page is needs_page


def test_every_verb_of_machine_and_board_exists():
    owners = {Actor.BOARD: dir(Board), Actor.MACHINE: dir(PracticeMachine) + dir(Faults)}
    owners[Actor.CABLE], owners[Actor.HOUSE] = CABLE_VERBS, PROCESS_VERBS

    kinds = [kind for kind in EVENTS.values() if kind.actor in owners]
    assert len(kinds) > 30
    assert not [kind.verb for kind in kinds if kind.verb not in owners[kind.actor]]
