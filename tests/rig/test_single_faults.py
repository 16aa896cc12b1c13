"""Single faults that no scenario can play: readings that fail, threads that fail, wrong wishes.

What happens to wires, fan, controller, cable and people is played in scenarios.
"""

import pytest

from etchdaemon.errors import BoardLost, CommandRefused
from etchdaemon.hardware.opened import EDGES_LOST
from etchdaemon.interlocks.inputs import Input
from etchdaemon.interlocks.setup import EVERYTHING
from rig.bench import patch
from rig.guarded import GuardedRig
from rig.memory import MemoryRecords

pytestmark = pytest.mark.slow

WATCHED = sorted(part for part in EVERYTHING if isinstance(part, Input) and part != "arm_button")
AT_ONCE = ("lid", "lid_second", "stop_circuit", "flame", "loop_closed")
LONGEST_S = {"air_flow": 5.5, "temperature": 5.5}


def read_without(rig, name):
    """Let the board read everything but one input."""
    read = rig.wires.read

    def reading():
        return {one: level for one, level in read().items() if one is not name}

    rig.wires.read = reading


def read_stale(rig, name):
    """Let one input stay as it was read now."""
    read = rig.wires.read
    kept = read()[name]
    rig.wires.read = lambda: {**read(), name: kept}


@pytest.mark.fault("missing or stale")
@pytest.mark.parametrize("fail", [read_without, read_stale])
@pytest.mark.parametrize("name", WATCHED)
def test_an_input_that_is_missing_or_stale_puts_the_beam_out_and_is_no_fire(etching, fail, name):
    fail(etching, Input(name))

    etching.wait_until(
        lambda: not etching.machine.board.is_beam_enabled,
        within_s=LONGEST_S.get(name, 0.3),
    )
    etching.wait(1.0)

    assert not etching.is_beam_enabled
    assert "emergency" not in [trip.reaction for trip in etching.box.trips]
    assert etching.tripped


@pytest.mark.fault("missing or stale")
@pytest.mark.parametrize("name", AT_ONCE)
def test_what_is_missing_for_one_look_stays_tripped_when_it_is_read_again(etching, name):
    read = etching.wires.read
    read_without(etching, Input(name))
    etching.step(2)
    etching.wires.read = read

    etching.wait(3.0)

    assert etching.state == "ended"
    assert not etching.is_beam_enabled


@pytest.mark.fault("missing or stale")
def test_a_board_that_is_gone_altogether_ends_the_run(etching):
    def gone():
        raise BoardLost("the board is gone")

    etching.wires.read = gone
    etching.wait_for_the_end()

    assert etching.run.ended == "stopped"
    assert not etching.is_beam_enabled


@pytest.mark.fault("callback raises")
def test_a_callback_that_raises_is_a_failure_of_the_guard_and_ends_the_run(etching, caplog):
    caplog.set_level("CRITICAL", logger="etchdaemon.guard")
    etching.board.fail_edges()

    etching.step(2)

    assert not etching.is_beam_enabled
    etching.wait_for_the_end()
    assert etching.tripped == ["guard well"]
    assert etching.record.event("trip")["details"]["rule"] == "guard well"


@pytest.mark.fault("edge thread dies")
def test_edges_that_come_no_longer_are_told_of_once_in_the_record_and_shown(etching):
    etching.board.lose_edges()

    etching.wait(2.0)

    told = [event["text"] for event in etching.record.events if event["kind"] == "warning"]
    assert told == [EDGES_LOST]
    assert etching.box.board_trouble == EDGES_LOST


@pytest.mark.fault("edge thread dies")
def test_without_edges_the_poll_alone_ends_the_run(etching):
    etching.wires.take_opened = dict
    etching.board.open_lid()

    etching.step(3)

    assert not etching.is_beam_enabled
    etching.wait_for_the_end()
    assert "lid is open" in etching.run.because


@pytest.mark.fault("poll thread blocked")
def test_a_poll_that_is_blocked_is_noticed_by_the_loop(etching):
    etching.board.hang_reading(is_hanging=True)
    etching.board.set_input("flame", level=False)

    etching.wait(0.3)

    assert not etching.is_beam_enabled
    etching.wait_for_the_end()
    assert "guard well" in etching.tripped


@pytest.mark.fault("logbook blocked")
def test_a_logbook_that_is_blocked_does_not_keep_the_lid_from_being_obeyed(etching):
    etching.records.trouble = "The disk does not answer."
    etching.board.open_lid()

    etching.step(2)

    assert not etching.is_beam_enabled
    etching.wait_for_the_end()
    assert etching.run.ended == "stopped"


class RecordsOnASlowCard(MemoryRecords):
    """Starts and resumes take half a second to be written; meanwhile the guard goes on looking."""

    def __init__(self, rig):
        super().__init__()
        self.rig = rig

    def _write_slowly(self):
        for _ in range(50):
            self.rig.machine.advance(0.010)
            self.rig.guard.monitor.look()

    def start_run(self, **start):
        self._write_slowly()
        return super().start_run(**start)

    def confirm_event(self, note):
        self._write_slowly()
        super().confirm_event(note)


class SlowRig(GuardedRig):
    """A guarded rig whose logbook lies on such a card."""

    def make_records(self):
        return RecordsOnASlowCard(self)


@pytest.fixture
def slow_rig(tmp_path):
    with SlowRig(tmp_path) as rig:
        yield rig


def test_on_a_slow_card_a_run_starts_and_goes_on_all_the_same(slow_rig):
    slow_rig.start(slow_rig.make_job(patch(6, 60)))
    slow_rig.etch_until_row(1)
    slow_rig.ask("hold")
    slow_rig.wait_until(lambda: slow_rig.state == "held")
    slow_rig.press_button()

    slow_rig.ask("resume")
    slow_rig.wait_for_the_end()

    assert slow_rig.run.ended == "complete"


@pytest.mark.fault("logbook blocked")
def test_a_resume_that_cannot_be_written_down_brings_no_beam(etching):
    etching.ask("hold")
    etching.wait_until(lambda: etching.state == "held")
    etching.records.trouble = "The disk does not answer."
    etching.press_button()

    with pytest.raises(Exception, match=etching.records.trouble):
        etching.ask("resume")
    etching.wait(1.0)

    assert not etching.is_beam_enabled


@pytest.mark.fault("unknown reset")
@pytest.mark.parametrize("names", [["lit closed"], ["guard well"], ["lid closed", "lit closed"]])
def test_a_reset_of_what_is_unknown_or_has_not_tripped_is_refused_and_resets_nothing(
    etching, names
):
    etching.board.open_lid()
    etching.wait_for_the_end()
    etching.board.close_lid()
    etching.wait(2.0)

    with pytest.raises(CommandRefused):
        etching.ask("reset", names=names)

    assert etching.tripped == ["lid closed"]
