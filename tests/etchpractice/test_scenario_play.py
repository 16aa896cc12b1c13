"""A scenario being played: what is due when, and what counts as a failure."""

from dataclasses import replace

from etchpractice.machine import PracticeMachine
from etchpractice.machine_state import MachineState
from etchpractice.scenario.observation import Observation
from etchpractice.scenario.play import Play
from etchpractice.scenario.script import read_scenario
from support.fakes.fake_daemon import LID_TRIP, RUN, box, snapshot

MACHINE = MachineState.of(PracticeMachine())


def observation(now_s, *, beam=False, row=0, may=(), trips=(), refusal=None):
    tripped = [{**LID_TRIP, "name": name} for name in trips]
    run = {**RUN, "row": row, "etched_rows": 0}
    status = snapshot("etching", run=run, may=may, interlocks=box(trips=tripped))
    outputs = {"beam_enable": beam, "extraction": False}
    return Observation(
        machine=replace(
            MACHINE, now_s=now_s, is_burning=beam, is_beam_enabled=beam, outputs=outputs
        ),
        status=status,
        refusal=refusal,
    )


def play_of(*steps):
    text = "".join(f"[[step]]\n{step}\n" for step in steps)
    return Play(read_scenario(f'about = "x"\n{text}'))


LID_AT_ROW_4 = 'at_row = 4\ndo = "lid opens"\nexpect = { beam = "off" }\nwithin_s = 0.1\nfor_s = 2'


def test_an_event_is_due_when_its_row_has_come_and_not_before():
    play = play_of(LID_AT_ROW_4)

    assert play.due(observation(0.0, row=3)) is None
    assert play.due(observation(1.0, row=4)).kind.verb == "open_lid"


def test_what_is_expected_may_come_until_its_time_is_up():
    play = play_of(LID_AT_ROW_4)
    play.due(observation(1.0, row=4, beam=True))
    play.due(observation(1.09, row=4, beam=True))
    is_still_on = play.has_failed

    play.due(observation(1.11, row=4, beam=True))

    assert not is_still_on
    assert play.has_failed
    assert "Not as expected within 0.1 s: the beam is off; the beam is on." in str(
        play.occurrences[-1]
    )


def test_what_has_come_must_last():
    play = play_of(LID_AT_ROW_4)
    play.due(observation(1.0, row=4, beam=True))
    play.due(observation(1.05))
    play.due(observation(2.0, beam=True))

    assert play.has_failed
    assert "did not last 2 s; the beam is on." in str(play.occurrences[-1])


def test_a_play_is_over_when_the_last_expectation_has_lasted():
    play = play_of(LID_AT_ROW_4)
    play.due(observation(1.0, row=4))
    play.due(observation(1.05))
    play.due(observation(3.0))
    was_over = play.is_over

    play.due(observation(3.06))

    assert not was_over
    assert play.is_over
    assert not play.has_failed


def test_times_count_from_the_beginning_or_from_the_step_before():
    play = play_of(
        'at_s = 30\ndo = "fan stops"',
        'after_s = 2\ndo = "lid opens"\n' + 'expect = { beam = "off" }',
    )
    play.due(observation(100.0))
    early = play.due(observation(129.9))
    fan = play.due(observation(130.0))
    play.due(observation(130.0))
    waiting = play.due(observation(131.9))
    lid = play.due(observation(132.1))

    assert (early, waiting) == (None, None)
    assert (fan.kind.verb, lid.kind.verb) == ("kill_fan", "open_lid")


def test_a_wish_waits_until_it_is_offered():
    play = play_of('when_may = "arm"\ndo = "press arm"\nexpect = { beam = "off" }')

    assert play.due(observation(0.0)) is None
    assert play.due(observation(1.0, may=["arm"])).kind.verb == "arm"


def test_a_refusal_that_nobody_expected_is_a_failure():
    play = play_of('do = "press start"\nexpect = { beam = "off" }')
    play.due(observation(0.0))

    play.due(observation(0.1, refusal="The lid is open."))

    assert play.has_failed
    assert "it was refused. The lid is open." in str(play.occurrences[-1])


def test_an_expected_refusal_must_say_what_it_should_and_must_come():
    right, wrong, none = (
        play_of('do = "press start"\nexpect = { refused = "lid is open" }\nwithin_s = 1')
        for _ in range(3)
    )
    for play, refusal in ((right, "The lid is open."), (wrong, "No."), (none, None)):
        play.due(observation(0.0))
        play.due(observation(0.1, refusal=refusal))
        play.due(observation(2.0, refusal=refusal))

    assert not right.has_failed
    assert wrong.has_failed
    assert none.has_failed


def test_a_moment_that_never_comes_is_a_failure():
    play = play_of(LID_AT_ROW_4)
    play.due(observation(0.0))

    play.due(observation(601.0))

    assert "never came" in str(play.occurrences[-1])
