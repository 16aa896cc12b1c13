"""What the daemon recalls of its box: proofs at these pins, and the safety relay's last test."""

import pytest

from etchdaemon.assembly import Box, Daemon, DaemonPaths
from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.errors import CommandRefused
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.interlocks.inputs import Input
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from support.fakes.memory_board import HandClock, MemoryBoard
from support.harnesses.interlock_bench import ANSWERS, DAY

NAMES = sorted(one.value for one in EVERYTHING if isinstance(one, Input))
PINS = {name: Pin(number) for number, name in enumerate(NAMES, start=1)}


class Life:
    """One life of the daemon: its guard looks, its logbook is open."""

    def __init__(self, folder, pins):
        self.clock, setup = HandClock(), Setup(wired=EVERYTHING)
        self.board = MemoryBoard(self.clock, setup.inputs)
        places = DaemonPaths(port="", socket=folder / "api.sock", state=folder)
        pin_map = PinMap(chip_label="chip", inputs=pins, outputs={})
        box = Box(board=self.board, bell=EventDoorbell(), setup=setup, pins=pin_map)
        self.daemon = Daemon(places, clock=self.clock, box=box)
        self.guard = self.daemon._guard

    def __enter__(self):
        self.daemon._logbook.__enter__()
        self.daemon._recall_box()
        self.look(100)
        return self

    def __exit__(self, *raised):
        self.daemon._logbook.__exit__(*raised)

    def look(self, times):
        for _ in range(times):
            self.guard.note_loop_alive()
            self.guard.monitor.look()
            self.clock.seconds += 0.01

    def open_for_a_moment(self, *names):
        for name in names:
            self.board.closed[name] = False
        self.look(30)
        for name in names:
            self.board.closed[name] = True
        self.look(100)

    def reset(self):
        self.board.closed[Input.ARM_BUTTON] = True
        self.look(20)
        self.board.closed[Input.ARM_BUTTON] = False
        self.look(5)
        self.guard.operator.reset([trip.name for trip in self.report.trips])
        self.look(5)

    def arm(self):
        self.guard.operator.arm(ANSWERS, day=DAY)

    @property
    def report(self):
        return self.guard.operator.report(day=DAY)

    @property
    def due(self):
        return {one.name for one in self.report.seen_to_open if one.is_due}


def prove_everything(life):
    life.open_for_a_moment(Input.LID, Input.LID_SECOND)
    life.open_for_a_moment(Input.STOP_CIRCUIT)
    life.reset()
    life.open_for_a_moment(Input.FLAME)
    life.reset()


def test_where_no_pins_were_known_proofs_are_asked_for_and_not_required(tmp_path):
    with Life(tmp_path, PINS) as life:
        assert {"lid", "lid_second", "stop_circuit", "flame"} <= life.due
        assert life.report.request is None
        life.arm()


@pytest.mark.slow
@pytest.mark.fault("inputs frozen: readings arrive, values never change")
def test_after_a_change_of_pins_nothing_is_armed_before_each_contact_was_seen_to_open(tmp_path):
    with Life(tmp_path, PINS) as life:
        prove_everything(life)
    with Life(tmp_path, {**PINS, "flame": Pin(99)}) as life:
        assert not life.report.arming.is_possible
        with pytest.raises(CommandRefused, match=r"stop circuit.*lid contact"):
            life.arm()
        life.open_for_a_moment(Input.LID, Input.LID_SECOND)
        with pytest.raises(CommandRefused, match="stop circuit, flame or smoke detector"):
            life.arm()
        prove_everything(life)
        life.open_for_a_moment(Input.LID)
        assert "pins" not in (life.report.request or "")


def test_what_is_still_to_be_shown_outlives_the_daemon_and_what_was_shown_does_too(tmp_path):
    with Life(tmp_path, PINS):
        pass
    changed = {**PINS, "lid": Pin(99)}
    with Life(tmp_path, changed) as life:
        life.open_for_a_moment(Input.LID, Input.LID_SECOND)
    with Life(tmp_path, changed) as life:
        assert "stop circuit, flame or smoke detector" in life.report.request
        assert "lid" not in life.report.request
        prove_everything(life)
    with Life(tmp_path, changed) as life:
        assert life.report.request is None


@pytest.mark.slow
@pytest.mark.parametrize(
    "pins", [PINS, dict(reversed(PINS.items()))], ids=["the same", "in another order"]
)
def test_the_same_pins_ask_for_nothing_anew(tmp_path, pins):
    with Life(tmp_path, PINS) as life:
        prove_everything(life)
    with Life(tmp_path, pins) as life:
        assert life.report.request is None
        life.arm()


@pytest.mark.parametrize("other", [Pin(99), Pin(1, is_high_on=False)], ids=["number", "level"])
def test_another_level_is_another_pin(tmp_path, other):
    with Life(tmp_path, PINS):
        pass
    with Life(tmp_path, {**PINS, NAMES[0]: other}) as life:
        assert "file were changed" in life.report.request


@pytest.mark.parametrize("has_passed", [True, False])
def test_the_safety_relays_last_test_outlives_the_daemon(tmp_path, has_passed):
    with Life(tmp_path, PINS) as life:
        life.guard._interlocks.relay.note_result(has_passed=has_passed)
        life.look(1)
        day = life.clock.utc_now()[:10]
    with Life(tmp_path, PINS) as life:
        relay = life.report.seen_to_open[-1]

        assert (relay.name, relay.day) == ("safety_relay", day)
        assert relay.is_due is not has_passed
        assert (life.guard.relay_trouble is None) is has_passed
