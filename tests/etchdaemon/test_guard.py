"""The guard: order of a trip, failures of itself, and who may close the beam's contact."""

import logging
import threading
from types import SimpleNamespace

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.guard.guard import Guard
from etchdaemon.guard.lock import HANGS
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.starting import StartRequest
from support.fakes.memory_board import HandClock, MemoryBoard
from support.harnesses.interlock_bench import ANSWERS, DAY, NOON

LONG_S = 60.0


class Box:
    """Guard, board and clock on the bench."""

    def __init__(self, **changes):
        self.clock = HandClock()
        self.setup = Setup(wired=EVERYTHING, **changes)
        self.board = MemoryBoard(self.clock, self.setup.inputs)
        self.woken = 0
        self.interlocks = InterlockEngine(self.setup)
        self.guard = Guard(self.interlocks, self.board, self.clock, wake=self.wake)

    def wake(self):
        self.woken += 1
        self.board.history.append("woken")

    def look(self, times=1, *, is_loop_alive=True, every_s=0.01):
        for _ in range(times):
            if is_loop_alive:
                self.guard.note_loop_alive()
            self.guard.monitor.look()
            self.clock.seconds += every_s

    def start(self):
        self.look(10, every_s=0.1)
        self.guard.operator.arm(ANSWERS, day=DAY)
        self.look(50)
        self.board.closed[Input.ARM_BUTTON] = True
        self.look(20)
        self.board.closed[Input.ARM_BUTTON] = False
        self.look(110, every_s=0.1)
        self.guard.begin_run(StartRequest(lasts_s=60, starts_at=NOON))
        self.guard.allow()
        self.look(30)
        assert self.is_beam_on, "the bench itself must be able to etch"
        self.board.history.clear()

    @property
    def is_beam_on(self):
        return self.board.outputs[Output.BEAM_ENABLE]


@pytest.fixture
def box():
    return Box()


def test_every_output_is_off_before_anything_else_happens():
    clock = HandClock()
    board = MemoryBoard(clock)
    board.outputs = dict.fromkeys(Output, True)

    Guard(InterlockEngine(Setup(wired=EVERYTHING)), board, clock)

    assert board.outputs == dict.fromkeys(Output, False)


def test_an_edge_opens_the_contact_before_the_board_is_even_read(box):
    box.start()
    box.board.open(Input.LID)

    box.look()

    assert box.board.history[:2] == [(Output.BEAM_ENABLE, False), "read"]


def test_of_all_outputs_that_a_look_changes_the_beams_is_driven_first(box):
    box.start()
    box.board.loses_edges = True

    box.board.open(Input.LID)
    box.look()

    driven = [entry for entry in box.board.history if isinstance(entry, tuple)]
    assert driven[0] == (Output.BEAM_ENABLE, False)
    assert Output.HEARTBEAT in dict(driven[1:])


def test_the_beam_goes_out_before_whoever_steers_is_woken(box):
    box.start()
    box.board.open(Input.STOP_CIRCUIT)

    box.look()

    assert box.board.history.index((Output.BEAM_ENABLE, False)) < box.board.history.index("woken")
    assert box.guard.verdict().reaction is Reaction.EMERGENCY


def test_a_lost_edge_is_made_good_by_the_next_poll(box):
    box.start()
    box.board.loses_edges = True
    box.board.open(Input.LID)

    box.look()

    assert not box.is_beam_on


def test_an_edge_that_the_poll_never_sees_still_trips(box):
    box.start()
    box.board.open(Input.LID)
    box.board.shut(Input.LID)

    box.look()

    assert not box.is_beam_on
    assert box.guard.verdict().sentence.startswith("The lid is open")


def test_an_exception_in_the_guard_trips_everything(box, caplog):
    box.start()
    box.board.raises = RuntimeError("a fault of our own")

    with caplog.at_level(logging.CRITICAL, logger="etchdaemon.guard"):
        box.look()

    assert not box.is_beam_on
    assert box.guard.verdict().reaction is Reaction.TRIP
    assert box.woken


def test_a_guard_that_keeps_failing_never_brings_the_beam_back(box):
    box.start()
    box.board.raises = RuntimeError("a fault of our own")
    box.look(50)
    box.board.raises = None

    box.look(500)

    box.guard.allow()
    box.look(10)
    assert not box.is_beam_on


def test_a_lost_board_trips_and_what_comes_back_is_driven_afresh(box):
    box.start()
    box.board.is_lost = True
    box.look(10)
    box.board.is_lost = False
    box.board.outputs = {}

    box.look(10)

    assert box.board.outputs[Output.BEAM_ENABLE] is False
    assert box.board.outputs[Output.EXTRACTION] is True, "it clears the box after the trip"
    assert box.guard.verdict().reaction is Reaction.TRIP


def test_a_loop_that_hangs_loses_its_beam_within_three_tenths_of_a_second(box):
    box.start()

    box.look(27, is_loop_alive=False)

    assert not box.is_beam_on


@pytest.mark.parametrize(("waits_s", "is_beam_on"), [(1.9, True), (2.1, False)])
def test_a_patient_box_waits_longer_for_a_loop_that_hangs_and_for_a_look(waits_s, is_beam_on):
    box = Box(stale_after_s=2.0)
    box.start()

    box.clock.seconds += waits_s
    box.look(is_loop_alive=False)

    assert box.is_beam_on is is_beam_on


def test_the_beam_counts_only_when_the_laser_had_its_time_to_wake():
    box = Box(beam_enable_settle_s=5.0)
    box.start()

    box.guard.allow()
    box.clock.seconds += 4.9
    was_early = box.guard.has_settled()
    box.clock.seconds += 0.2

    assert not was_early
    assert box.guard.has_settled()


def test_whoever_is_about_to_wait_for_the_logbook_opens_the_contact_without_a_look(box):
    box.start()

    box.guard.note_loop_alive(is_waiting=True)

    assert not box.is_beam_on


def test_after_a_halt_the_contact_opens_before_the_board_is_read(box):
    box.start()
    box.clock.seconds += 1.0

    box.guard.monitor.look()

    history = box.board.history
    assert history.index((Output.BEAM_ENABLE, False)) < history.index("read")


def test_a_guard_whose_own_judgement_fails_never_brings_the_beam_back(box, monkeypatch, caplog):
    box.start()

    def breaches(now_s):
        raise RuntimeError("told to")

    with monkeypatch.context() as broken:
        broken.setattr(box.interlocks.sampler, "breaches", breaches)
        box.look(5)
        assert not box.is_beam_on
    box.look(200)

    assert not box.is_beam_on
    assert "told to" in caplog.text


def test_whoever_steers_notices_a_guard_that_no_longer_looks(box):
    box.start()
    box.clock.seconds += 0.3

    verdict = box.guard.verdict()

    assert verdict.reaction is Reaction.TRIP
    assert not box.is_beam_on


@pytest.mark.parametrize(("blind_s", "was_unwatched"), [(0.24, False), (0.26, True)])
def test_a_blind_guard_leaves_open_when_the_heartbeat_put_the_beam_out(box, blind_s, was_unwatched):
    box.start()
    box.clock.seconds += blind_s
    box.guard.note_loop_alive()

    verdict = box.guard.verdict()

    assert verdict.was_unwatched is was_unwatched


@pytest.mark.fault("poll thread blocked")
def test_a_guard_that_hangs_with_its_lock_is_a_trip_and_the_beam_goes_out(box):
    box.start()
    hold, let_go = threading.Event(), threading.Event()

    def hang(look):
        hold.set()
        let_go.wait(LONG_S)
        raise RuntimeError("late")

    box.interlocks.look = hang
    looking = threading.Thread(target=box.guard.monitor.look)
    looking.start()
    assert hold.wait(LONG_S)
    box.clock.seconds += 0.06  # what was found just before the hang is believed for that long

    verdict = box.guard.verdict()
    is_out = not box.is_beam_on
    box.guard.cut()
    with pytest.raises(CommandRefused, match="does not answer"):
        box.guard.begin_run(StartRequest(lasts_s=60, starts_at=NOON))
    let_go.set()
    looking.join()

    assert (verdict.reaction, verdict.sentence) == (Reaction.TRIP, HANGS)
    assert is_out


def test_a_cut_opens_the_contact_at_once_and_no_later_look_closes_it(box):
    box.start()

    box.guard.cut()
    is_out = not box.is_beam_on
    box.look(100)

    assert is_out
    assert not box.is_beam_on


def test_every_trip_is_told_once(box):
    box.start()
    box.board.open(Input.LID)
    box.look(300)

    first = [trip.rule.name for trip in box.guard.verdict().new_trips]
    second = box.guard.verdict().new_trips

    assert first == ["lid closed", "lid contacts agree"]
    assert second == ()


def test_the_end_of_a_run_puts_the_beam_out(box):
    box.start()

    box.guard.end_run()

    assert not box.is_beam_on


def test_closing_drives_everything_off(box):
    box.start()

    box.guard.close()

    assert box.board.outputs == dict.fromkeys(Output, False)
    assert box.board.is_closed


def test_the_report_names_every_rule_in_force(box):
    box.look(300)
    report = box.guard.operator.report(day=DAY)

    assert [rule.name for rule in report.rules] == [r.name for r in box.interlocks.rules]
    assert {rule.state for rule in report.rules} == {"good", "bad"}  # the fan is off
    assert len(report.questions) == len(ANSWERS)


def test_a_contact_that_opened_and_closed_is_told_once_a_day_and_shown(box):
    told = []
    records = SimpleNamespace(note_proof=lambda *proof: told.append(proof))
    guard = box.guard = Guard(box.interlocks, box.board, box.clock, records=records)
    guard.contact_tests.recall_proofs({"flame": "2026-01-01"})
    for _ in range(2):
        box.board.closed[Input.STOP_CIRCUIT] = False
        box.look(20)
        box.board.closed[Input.STOP_CIRCUIT] = True
        box.look(20)

    shown = {one.name: one.day for one in guard.operator.report(day=DAY).seen_to_open}

    day = box.clock.utc_now()[:10]
    assert [(name, at_utc[:10]) for name, at_utc in told] == [("stop_circuit", day)]
    assert (shown["stop_circuit"], shown["flame"]) == (day, "2026-01-01")


def test_a_test_of_the_safety_relay_is_written_down_and_recalled(box):
    written = []
    records = SimpleNamespace(note_relay_test=lambda at_utc, **how: written.append((at_utc, how)))
    box.guard = Guard(box.interlocks, box.board, box.clock, records=records)
    box.guard.contact_tests.recall_relay_test({"day": "2026-01-01", "has_passed": False})
    recalled = box.guard.relay_trouble

    box.interlocks.relay.note_result(has_passed=True)
    box.look(1)

    assert recalled is not None
    assert box.guard.relay_trouble is None
    assert written == [(box.clock.utc_now(), {"has_passed": True})]


def test_every_look_is_counted_and_one_that_fails_as_well(box, caplog):
    caplog.set_level("CRITICAL", logger="etchdaemon.guard")
    before = box.guard.monitor.looks
    box.look(3)
    box.interlocks.look = None
    box.look(2)

    assert box.guard.monitor.looks == before + 5


def test_whoever_steers_hears_once_when_the_contact_opened_that_ended_the_beam(box):
    box.start()
    opened_at_s = box.clock.now_s()
    box.board.opened[Input.LID] = Edge(box.clock.wall_s(), opened_at_s)
    box.clock.seconds += 0.03
    box.look()

    verdict = box.guard.verdict()

    assert verdict.opened_at_s == opened_at_s
    assert box.guard.verdict().opened_at_s is None


# Two clocks


def test_however_fast_the_machines_time_runs_contacts_and_people_live_on_the_walls(box):
    box.look(100)
    box.guard.operator.arm(ANSWERS, day=DAY)
    box.look(50)
    box.board.closed[Input.ARM_BUTTON] = True
    box.look(20)
    box.board.closed[Input.ARM_BUTTON] = False
    box.look(1100)

    box.clock.machine_ahead_s += 3600.0  # an hour of the head's, and none of anybody's
    box.look(1)

    assert box.guard.operator.why_not_start() is None


def test_a_reading_grows_old_by_the_walls_clock_while_the_machines_stands_still(box):
    box.start()

    box.clock.seconds += 0.3
    box.clock.machine_ahead_s -= 0.3
    verdict = box.guard.verdict()

    assert verdict.reaction is Reaction.TRIP
    assert verdict.was_unwatched


def test_the_beam_counts_on_its_contact_only_when_that_had_the_walls_time_to_settle(box):
    box.start()
    box.guard.cut()
    box.look(5)

    box.guard.allow()
    box.clock.machine_ahead_s += 60.0
    was_settled = box.guard.has_settled()
    box.look(16)

    assert not was_settled
    assert box.guard.has_settled()


def test_a_cut_is_dated_by_the_machines_clock_so_that_its_place_can_be_found(box):
    box.clock.machine_ahead_s = 500.0
    box.start()

    box.board.open(Input.LID)
    opened_at_s = box.clock.now_s()
    box.clock.seconds += 0.02
    box.guard.monitor.look()

    assert box.guard.verdict().opened_at_s == opened_at_s


def test_with_a_clock_that_goes_on_while_it_looks_one_look_is_enough(box):
    box.start()
    wall_s = box.clock.wall_s

    def going_on():
        box.clock.seconds += 0.0001
        return wall_s()

    box.clock.wall_s = going_on
    box.board.open(Input.LID)

    box.look()

    assert (Output.BEAM_ENABLE, True) not in box.board.history
    assert not box.is_beam_on
    assert [trip.rule.name for trip in box.interlocks.latch.trips] == ["lid closed"]


@pytest.mark.fault("pin of the beam's contact dead")
def test_where_the_beams_pin_is_dead_the_loop_shows_it_and_the_heartbeat_stops(box):
    box.start()
    box.board.dead = {Output.BEAM_ENABLE}

    box.guard.cut()
    box.look(20)
    beats = set(_beats(box, 50))

    assert box.guard.verdict().reaction is Reaction.EMERGENCY
    assert [trip.rule.name for trip in box.interlocks.latch.trips] == ["loop open when off"]
    assert len(beats) == 1


def _beats(box, looks):
    for _ in range(looks):
        box.look()
        yield box.board.outputs[Output.HEARTBEAT]


def test_a_process_that_was_halted_in_a_look_finds_one_cause_all_the_same(box):
    box.start()
    read = box.board.read

    def halted():
        levels = read()
        box.clock.seconds += 5.0  # between the reading and its judgement
        box.board.read = read
        return levels

    box.board.read = halted
    box.look(3)

    assert [trip.rule.name for trip in box.interlocks.latch.trips] == ["guard well"]


def test_a_loop_that_stays_away_after_a_halt_is_a_cause_of_its_own(box):
    box.start()
    box.clock.seconds += 5.0

    box.look(30, is_loop_alive=False)

    trips = [trip.rule.name for trip in box.interlocks.latch.trips]
    assert trips == ["guard well", "daemon's loop alive"]


def test_a_fire_that_began_while_the_process_was_halted_is_an_emergency(box):
    box.start()
    box.clock.seconds += 5.0
    box.board.open(Input.FLAME)
    box.board.shut(Input.FLAME)

    box.look()

    assert box.guard.verdict().reaction is Reaction.EMERGENCY


@pytest.mark.fault("guard fails")
def test_a_guard_that_keeps_failing_writes_one_traceback_a_minute(box, caplog):
    box.board.raises = RuntimeError("a fault of our own")

    box.look(50)
    box.clock.seconds += 60.0
    box.look(50)

    assert [record.getMessage() for record in caplog.records] == [
        "The guard has failed; 0 times before, unlogged.",
        "The guard has failed; 49 times before, unlogged.",
    ]
    assert all(record.exc_info for record in caplog.records)


@pytest.mark.fault("guard fails")
def test_the_trip_of_a_guard_that_failed_is_told_to_whoever_steers(box, caplog):
    caplog.set_level("CRITICAL", logger="etchdaemon.guard")
    box.start()
    box.guard.verdict()
    box.board.raises = RuntimeError("a fault of our own")
    box.look()

    (trip,) = box.guard.verdict().new_trips

    assert trip.rule.name == "guard well"


def test_a_trip_that_is_found_while_a_beam_is_asked_for_is_told_as_well(box):
    box.start()
    box.board.closed[Input.LID] = False
    box.clock.seconds += 0.3

    box.guard.may_burn()

    assert [trip.rule.name for trip in box.guard.verdict().new_trips] == ["guard well"]


def test_what_is_wrong_with_the_board_itself_is_shown(box):
    box.look()
    before = box.guard.operator.report_key
    box.board.trouble = "No edges."

    assert box.guard.operator.report(day=DAY).board_trouble == "No edges."
    assert box.guard.operator.report_key != before


@pytest.mark.fault("guard fails")
def test_a_guard_that_fails_cuts_before_it_writes_its_log(box, monkeypatch):
    box.start()
    seen = []
    monkeypatch.setattr(
        logging.getLogger("etchdaemon.guard"), "exception", lambda *_: seen.append(box.is_beam_on)
    )
    box.board.raises = RuntimeError("a fault of our own")

    box.look()

    assert seen == [False]
