"""The practice board: contacts, the self-holding chain, air flow, and what lets the beam be."""

import pytest

from etchpractice.box.board import (
    BEAM_CONTACT,
    HEARTBEAT_CONTACT,
    HEARTBEAT_S,
    SAFETY_RELAY,
    Board,
    UnknownContact,
)
from etchpractice.machine import PracticeMachine
from etchpractice.process import PracticeProcess, Terms
from support.harnesses.practice_host import Host


class Bench:
    """A board and its gate, with time moved by hand."""

    def __init__(self):
        self.gate = []
        self.board = Board(lambda at_s, is_closed: self.gate.append((round(at_s, 6), is_closed)))

    def wait(self, seconds):
        end_s = self.board.now_s + seconds
        while self.board.next_event_s <= end_s:
            self.board.advance_to(self.board.next_event_s)
        self.board.advance_to(end_s)

    def beat(self, seconds, hz=20):
        for _ in range(round(seconds * hz)):
            self.board.set_output("heartbeat", not self.board.outputs["heartbeat"])
            self.wait(1 / hz)


@pytest.fixture
def bench():
    made = Bench()
    made.board.connect()
    return made


def enable(bench):
    bench.board.set_output("beam_enable", True)
    return bench.board


def test_until_a_daemon_comes_the_beam_is_let_through():
    board = Board(lambda *_: None)

    assert board.is_beam_enabled
    board.connect()
    assert not board.is_beam_enabled


def test_the_beam_is_let_through_while_the_contact_is_closed(bench):
    enable(bench)
    assert bench.board.is_beam_enabled

    bench.board.set_output("beam_enable", False)

    assert not bench.board.is_beam_enabled
    assert bench.gate == [(0, False), (0, True), (0, False)]


@pytest.mark.parametrize("name", ["lid", "lid_second", "stop_circuit"])
def test_a_guard_that_opens_drops_the_relay_and_closing_it_does_not_bring_it_back(bench, name):
    enable(bench)
    bench.board.set_input(name, level=False)
    assert not bench.board.inputs()["loop_closed"]

    bench.board.set_input(name, level=True)
    assert not bench.board.inputs()["loop_closed"]
    bench.board.press_button()

    assert bench.board.inputs()["loop_closed"]


@pytest.mark.parametrize("name", ["lid", "lid_second", "stop_circuit"])
def test_the_button_sets_nothing_while_a_guard_is_open(bench, name):
    enable(bench)
    bench.board.set_input(name, level=False)
    bench.board.press_button()
    bench.wait(1)

    bench.board.set_input(name, level=True)

    assert not bench.board.is_beam_enabled


@pytest.mark.parametrize("name", ["air_flow", "flame", "temperature"])
def test_the_other_inputs_are_the_daemon_s_business_alone(bench, name):
    enable(bench)

    bench.board.set_input(name, level=False)

    assert bench.board.is_beam_enabled


def test_the_heartbeat_counts_from_its_first_beat_and_holds_for_400_ms(bench):
    enable(bench)
    bench.wait(10)
    assert bench.board.is_beam_enabled

    bench.beat(2)
    assert bench.board.is_beam_enabled
    bench.wait(0.34)
    assert bench.board.is_beam_enabled
    bench.wait(0.07)

    assert not bench.board.is_beam_enabled


@pytest.mark.parametrize("speedup", [1.0, 2.0])
def test_the_heartbeat_is_waited_for_as_long_by_the_wall_however_fast_the_machine_runs(
    tmp_path, speedup
):
    machine = PracticeMachine()

    PracticeProcess(machine, Terms(folder=tmp_path, speedup=speedup))

    assert machine.board.heartbeat_s / speedup == HEARTBEAT_S


def test_a_heartbeat_that_comes_back_does_not_bring_the_beam_back(bench):
    enable(bench)
    bench.beat(1)
    bench.wait(1)

    bench.beat(1)
    assert not bench.board.is_beam_enabled
    bench.board.press_button()
    bench.beat(0.5)

    assert bench.board.is_beam_enabled


def test_the_button_sets_nothing_while_the_heartbeat_stands_still(bench):
    enable(bench)
    bench.beat(1)
    bench.wait(1)

    bench.board.press_button()

    assert not bench.board.is_beam_enabled


def test_a_level_that_stays_is_no_beat(bench):
    enable(bench)
    bench.beat(1)

    for _ in range(20):
        bench.board.set_output("heartbeat", bench.board.outputs["heartbeat"])
        bench.wait(0.05)

    assert not bench.board.is_beam_enabled


def test_every_output_falls_when_the_daemon_goes(bench):
    for name in bench.board.outputs:
        bench.board.set_output(name, True)

    bench.board.disconnect()

    assert not any(bench.board.outputs.values())
    assert not bench.board.is_beam_enabled


def test_the_air_follows_the_extraction_with_a_delay(bench):
    bench.board.set_output("extraction", True)
    bench.wait(0.7)
    assert not bench.board.inputs()["air_flow"]
    bench.wait(0.2)
    assert bench.board.inputs()["air_flow"]

    bench.board.set_output("extraction", False)
    bench.wait(1.4)
    assert bench.board.inputs()["air_flow"]
    bench.wait(0.2)

    assert not bench.board.inputs()["air_flow"]


def test_a_dead_fan_lets_the_air_stand(bench):
    bench.board.set_output("extraction", True)
    bench.wait(1)

    bench.board.kill_fan()
    bench.wait(2)
    assert not bench.board.inputs()["air_flow"]
    bench.board.mend_fan()
    bench.wait(1)

    assert bench.board.inputs()["air_flow"]


@pytest.mark.parametrize("level", [True, False])
def test_a_stuck_input_reads_the_same_whatever_happens(bench, level):
    bench.board.stick_input("air_flow", level=level)

    bench.board.set_output("extraction", True)
    bench.wait(2)
    assert bench.board.inputs()["air_flow"] is level
    bench.board.stick_input("air_flow", level=None)

    assert bench.board.inputs()["air_flow"]


def test_a_welded_contact_leaves_the_loop_closed_when_it_is_commanded_off(bench):
    enable(bench)
    bench.board.weld(BEAM_CONTACT)

    bench.board.set_output("beam_enable", False)

    assert bench.board.inputs()["loop_closed"]
    assert bench.board.is_beam_enabled


def test_a_welded_safety_relay_does_not_follow_its_guards(bench):
    enable(bench)
    bench.board.weld(SAFETY_RELAY)

    bench.board.open_lid()

    assert bench.board.is_beam_enabled
    bench.board.set_output("beam_enable", False)
    assert not bench.board.is_beam_enabled


def test_a_welded_heartbeat_contact_does_not_follow_the_heartbeat(bench):
    enable(bench)
    bench.board.weld(HEARTBEAT_CONTACT)
    bench.beat(0.5)

    bench.wait(5)
    assert bench.board.is_beam_enabled
    bench.board.open_lid()

    assert not bench.board.is_beam_enabled


def test_a_bridged_button_stays_pressed_and_sets_the_relay_with_the_lid(bench):
    enable(bench)
    bench.board.bridge_button()
    bench.board.press_button()
    bench.wait(1)
    bench.board.open_lid()

    bench.board.close_lid()

    assert bench.board.inputs()["arm_button"]
    assert bench.board.is_beam_enabled


def test_only_contacts_of_the_chain_can_weld(bench):
    with pytest.raises(UnknownContact, match="safety_relay, beam_enable, heartbeat"):
        bench.board.weld("lid")


def test_changes_are_told_once_and_in_order(bench):
    bench.board.changes.clear()
    bench.board.open_lid()
    bench.board.close_lid()

    assert bench.board.changes == [
        ("lid", False), ("lid_second", False), ("lid", True), ("lid_second", True),
    ]  # fmt: skip


def test_a_chattering_contact_opens_a_thousand_times_a_second(bench):
    bench.board.changes.clear()

    bench.board.chatter("lid", seconds=0.1)
    bench.wait(0.2)

    told = [level for name, level in bench.board.changes if name == "lid"]
    assert len(told) == pytest.approx(200, abs=3)
    assert told[-1] is True


@pytest.mark.parametrize("verb", ["set_input", "stick_input"])
def test_an_unknown_contact_is_refused_with_the_list(bench, verb):
    with pytest.raises(UnknownContact, match="stop_circuit"):
        getattr(bench.board, verb)("lidd", level=True)
    with pytest.raises(UnknownContact, match="beam_enable"):
        bench.board.set_output("beam", True)


def lit_mm(machine):
    """Return the length that was burnt of the line at y = 0."""
    felt = machine.tile.exposure_j_per_mm2((0, -0.1, 60, 0.1)).sum(axis=0)
    return float((felt > felt.max() / 2).sum() * 0.025) if felt.max() > 0.1 else 0.0


def test_nothing_burns_while_the_contact_is_open():
    host = Host()
    host.machine.board.connect()

    host.run("G91G1X9F3000M4S0", "X30S600", "X9S0")

    assert lit_mm(host.machine) == 0


def test_the_beam_is_cut_in_mid_line_where_the_contact_opened():
    host = Host()
    host.machine.board.connect()
    host.machine.board.set_output("beam_enable", True)
    host.queue("G91G1X9F3000M4S0", "X30S600", "X9S0")
    while host.machine.head_mm[0] < 19:
        host.wait(0.002)

    host.machine.board.set_output("beam_enable", False)
    host.run()

    assert lit_mm(host.machine) == pytest.approx(10, abs=0.6)


def test_a_heartbeat_that_stops_cuts_the_beam_of_a_machine_left_alone():
    machine = PracticeMachine()
    machine.advance(0.1)
    machine.board.connect()
    machine.board.set_output("beam_enable", True)
    machine.board.set_output("heartbeat", True)
    machine.write(b"G91G1X9F3000M4S0\nX30S600\nX9S0\n")

    machine.advance(3)

    assert lit_mm(machine) == pytest.approx(0.4 * 50 - 9, abs=2.5)
