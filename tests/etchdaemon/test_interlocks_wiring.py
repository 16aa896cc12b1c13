"""The wiring test: every contact shown as it is, and every output tried, one at a time."""

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.checks.wiring import INPUT_WORDS, OUTPUT_WORDS, TRIAL_S, WITHHELD_S
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from support.harnesses.interlock_bench import MINIMUM, Bench

TRIED = (Output.EXTRACTION, Output.LAMP, Output.BUZZER)


@pytest.fixture
def bench():
    made = Bench()
    made.run(1.0)
    return made


def attempt(bench, output, *, is_on=True):
    name = getattr(output, "value", output)
    bench.interlocks.try_output(name, is_on=is_on, now_s=bench.now_s)


def report(bench):
    box = bench.interlocks
    return box.wiring.report(bench.outputs, is_free=box.is_free, now_s=bench.now_s)


def entry(bench, part):
    parts = report(bench).inputs if isinstance(part, Input) else report(bench).outputs
    return next(one for one in parts if one.name == part.value)


def test_every_contact_has_words_for_closed_and_open_and_every_output_for_its_trial():
    assert set(INPUT_WORDS) == set(Input)
    assert set(OUTPUT_WORDS) == set(Output)


@pytest.mark.parametrize("name", sorted(Setup(wired=EVERYTHING).inputs))
def test_a_contact_that_moves_is_shown_with_the_time_since_it_did(bench, name):
    before = entry(bench, name)

    bench.closed[name] = not bench.closed[name]
    bench.follows_fan = bench.follows_beam = False
    bench.run(0.3)

    after = entry(bench, name)
    assert after.is_closed is not before.is_closed
    assert after.words != before.words
    assert after.for_s == pytest.approx(0.3, abs=0.05)
    assert before.for_s == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("name", [Input.LID, Input.FLAME, Input.STOP_CIRCUIT, Input.TEMPERATURE])
def test_a_guard_is_safe_while_its_contact_is_closed(bench, name):
    assert entry(bench, name).is_safe

    bench.open(name)
    bench.run(0.1)

    assert not entry(bench, name).is_safe


def test_an_input_that_cannot_be_read_is_not_safe_and_one_that_is_not_wired_is_neither():
    bench = Bench(Setup(wired=MINIMUM))
    bench.run(0.5)
    bench.unread.add(Input.LID)
    bench.run(0.5)

    assert entry(bench, Input.LID).words == "It cannot be read."
    assert entry(bench, Input.LID).is_safe is False
    assert entry(bench, Input.FLAME).words == "Not wired."
    assert entry(bench, Input.FLAME).is_safe is None


def test_a_contact_that_opened_for_an_instant_has_changed_just_now(bench):
    bench.tick(opened=(Input.LID,))

    assert entry(bench, Input.LID).for_s < 0.1


@pytest.mark.parametrize("output", TRIED)
def test_an_output_is_tried_for_a_few_seconds_and_no_longer(bench, output):
    attempt(bench, output)
    bench.run(TRIAL_S - 0.5)
    was_on = bench.outputs[output]

    bench.run(1.0)

    assert was_on
    assert not bench.outputs[output]
    assert not bench.tripped


def test_the_air_flow_answers_while_the_extraction_is_tried(bench):
    attempt(bench, Output.EXTRACTION)
    bench.run(1.0)

    assert entry(bench, Input.AIR_FLOW).is_closed
    assert entry(bench, Input.AIR_FLOW).is_safe


@pytest.mark.parametrize("output", TRIED)
def test_a_trial_is_left_off_when_somebody_says_so(bench, output):
    attempt(bench, output)
    bench.run(0.2)

    attempt(bench, output, is_on=False)
    bench.run(0.1)

    assert not bench.outputs[output]


def test_the_heartbeat_is_withheld_for_a_moment_and_beats_again(bench):
    def beats():
        seen = {bench.tick().outputs[Output.HEARTBEAT] for _ in range(20)}
        return len(seen) == 2

    assert beats()
    attempt(bench, Output.HEARTBEAT)
    bench.tick()
    assert not beats()

    bench.run(WITHHELD_S)

    assert beats()


def test_one_trial_ends_the_other(bench):
    attempt(bench, Output.LAMP)
    bench.run(0.1)

    attempt(bench, Output.BUZZER)
    bench.run(0.1)

    assert bench.outputs[Output.BUZZER]
    assert not bench.outputs[Output.LAMP]


def test_the_beams_contact_is_never_tried(bench):
    with pytest.raises(CommandRefused, match="never tried by hand"):
        attempt(bench, Output.BEAM_ENABLE)
    assert not entry(bench, Output.BEAM_ENABLE).can_be_tried


@pytest.mark.parametrize("name", ["", "lid", "laser", "LAMP"])
def test_what_is_no_output_cannot_be_tried(bench, name):
    with pytest.raises(CommandRefused, match="is wired here"):
        attempt(bench, name)


def test_an_output_that_is_not_wired_cannot_be_tried():
    bench = Bench(Setup(wired=MINIMUM))
    bench.run(0.5)

    with pytest.raises(CommandRefused, match="is wired here"):
        attempt(bench, Output.LAMP)


@pytest.mark.parametrize("output", [*TRIED, Output.HEARTBEAT])
def test_nothing_is_tried_once_somebody_arms(bench, output):
    bench.ask_to_arm()

    with pytest.raises(CommandRefused, match="only while nothing is armed"):
        attempt(bench, output)


def test_arming_ends_a_trial_and_the_extraction_runs_on_for_it(bench):
    attempt(bench, Output.EXTRACTION)
    bench.run(0.5)

    bench.ask_to_arm()
    bench.run(0.5)

    assert bench.outputs[Output.EXTRACTION]
    assert bench.interlocks.wiring.trial is None


def test_nothing_is_tried_while_a_trip_waits_for_its_reset(bench):
    bench.open(Input.STOP_CIRCUIT)
    bench.run(0.1)

    with pytest.raises(CommandRefused, match="waiting for a reset"):
        attempt(bench, Output.LAMP)


def test_a_trip_ends_a_trial(bench):
    attempt(bench, Output.LAMP)
    bench.run(0.1)

    bench.open(Input.FLAME)
    bench.run(0.1)

    assert not bench.outputs[Output.LAMP]


def test_nothing_is_tried_during_an_etch_and_the_beam_stays_on():
    bench = Bench()
    bench.start()

    with pytest.raises(CommandRefused):
        attempt(bench, Output.BUZZER)
    assert bench.is_beam_on


def test_the_extraction_is_not_tried_while_it_clears_the_box():
    bench = Bench()
    bench.start()
    bench.interlocks.end_run()
    bench.run(0.5)

    with pytest.raises(CommandRefused, match="runs already"):
        attempt(bench, Output.EXTRACTION)


def test_no_trial_ever_closes_the_beams_contact(bench):
    for output in (*TRIED, Output.HEARTBEAT):
        attempt(bench, output)
        for _ in range(50):
            assert not bench.tick().outputs[Output.BEAM_ENABLE]
