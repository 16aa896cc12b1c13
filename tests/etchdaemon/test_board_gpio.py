"""The board on pins: each of the libraries' known faults, with the answer to it."""

import importlib
import os
import sys

import pytest
from gpiozero.pins.local import LocalPiFactory
from gpiozero.pins.mock import MockFactory

from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.errors import BoardLost
from etchdaemon.hardware.gpio_board import GpioBoard
from etchdaemon.hardware.gpio_lines import GET_CHIPINFO, Lines
from etchdaemon.hardware.lgpio_pins import is_edge_thread_alive, lgpio_factory
from etchdaemon.hardware.opened import EDGES_LOST
from etchdaemon.hardware.self_check import warnings_of_persistence
from etchdaemon.interlocks.inputs import Input, Output
from support.fakes.fake_lgpio import FakeLgpio
from support.fakes.memory_board import CountingDoorbell, HandClock

PINS = PinMap(
    chip_label="pinctrl-bcm2711",
    inputs={"lid": Pin(16), "flame": Pin(20, is_high_on=False), "arm_button": Pin(25)},
    outputs={"beam_enable": Pin(22), "extraction": Pin(23, is_high_on=False)},
)


class OnPins:
    """A board on gpiozero's mock pins."""

    def __init__(self):
        self.factory = MockFactory()
        self.doorbell = CountingDoorbell()
        self.is_thread_alive = True
        self.board = GpioBoard(
            PINS,
            self.factory,
            clock=HandClock(),
            doorbell=self.doorbell,
            is_edge_thread_alive=lambda: self.is_thread_alive,
        )

    def line(self, number):
        return self.factory.pin(number)


@pytest.fixture
def pins():
    return OnPins()


def levels(board):
    return {name.value: level.is_closed for name, level in board.read().items()}


def test_a_circuit_is_closed_at_the_level_the_configuration_says(pins):
    assert levels(pins.board) == {"lid": False, "flame": True, "arm_button": False}

    pins.line(16).drive_high()
    pins.line(20).drive_high()
    assert levels(pins.board) == {"lid": True, "flame": False, "arm_button": False}


def test_a_level_is_dated_before_it_was_read(pins, monkeypatch):
    """A thread that is kept waiting right after it has read a pin holds no news of that pin."""
    clock = HandClock(5.0)
    board = GpioBoard(PINS, pins.factory, clock=clock, doorbell=CountingDoorbell())
    line = board._inputs[Input.LID][0]

    def read_and_be_kept_waiting(_):
        clock.seconds = 6.0
        return 0

    monkeypatch.setattr(type(line), "state", property(read_and_be_kept_waiting), raising=False)

    assert board.read()[Input.LID].at_s == 5.0


def test_outputs_start_off_and_are_driven_at_their_own_level(pins):
    assert (pins.line(22).state, pins.line(23).state) == (0, 1)

    pins.board.set(Output.BEAM_ENABLE, is_on=True)
    pins.board.set(Output.EXTRACTION, is_on=True)
    assert (pins.line(22).state, pins.line(23).state) == (1, 0)


def test_an_output_that_is_not_wired_is_ignored(pins):
    pins.board.set(Output.BUZZER, is_on=True)

    assert levels(pins.board)


def test_an_edge_to_open_is_noted_and_rings_and_an_edge_to_closed_is_not(pins):
    pins.line(16).drive_high()
    before = (pins.doorbell.rings, dict(pins.board.take_opened()))
    pins.line(16).drive_low()

    assert before == (0, {})
    assert pins.doorbell.rings == 1
    assert list(pins.board.take_opened()) == [Input.LID]


def test_the_beam_goes_out_in_the_edges_own_thread(pins):
    pins.line(16).drive_high()
    pins.board.set(Output.BEAM_ENABLE, is_on=True)

    pins.line(16).drive_low()

    assert pins.line(22).state == 0


def test_a_button_that_comes_up_leaves_the_beam_alone(pins):
    pins.board.set(Output.BEAM_ENABLE, is_on=True)
    pins.line(25).drive_high()

    pins.line(25).drive_low()

    assert pins.line(22).state == 1


def test_an_input_that_has_opened_is_told_although_it_is_closed_again(pins):
    pins.line(16).drive_high()
    pins.line(16).drive_low()
    pins.line(16).drive_high()

    assert levels(pins.board)["lid"]
    assert list(pins.board.take_opened()) == [Input.LID]
    assert pins.board.take_opened() == {}


def test_a_thousand_edges_fill_one_slot_and_ring_once(pins):
    for _ in range(1000):
        pins.line(16).drive_high()
        pins.line(16).drive_low()

    assert pins.doorbell.rings == 1
    assert len(pins.board.take_opened()) == 1


def test_a_button_that_comes_up_wakes_nobody(pins):
    pins.line(25).drive_high()
    pins.line(25).drive_low()

    assert pins.doorbell.rings == 0


@pytest.mark.fault("callback raises")
def test_a_callback_lets_no_exception_into_the_librarys_thread(pins):
    def refuse():
        raise RuntimeError("a doorbell that is broken")

    pins.line(16).drive_high()
    pins.doorbell.ring = refuse
    pins.line(16).drive_low()  # would raise here, in the caller, if it got out

    assert pins.board.trouble == EDGES_LOST
    assert levels(pins.board)["lid"] is False


@pytest.mark.fault("pin of the beam's contact dead")
def test_an_edge_whose_cut_fails_is_not_lost(pins, monkeypatch):
    def refuse(*_, **__):
        raise BoardLost("a pin that cannot be driven")

    pins.line(16).drive_high()
    pins.board.take_opened()
    monkeypatch.setattr(pins.board, "set", refuse)

    pins.line(16).drive_low()

    assert list(pins.board.take_opened()) == [Input.LID]
    assert pins.board.trouble is None  # edges arrive all the same


@pytest.mark.fault("edge thread dies")
def test_a_dead_edge_thread_is_said_and_the_poll_goes_on(pins):
    pins.is_thread_alive = False

    assert pins.board.trouble == EDGES_LOST
    assert len(pins.board.read()) == 3


def test_a_pin_that_cannot_be_read_is_left_out_and_the_others_are_not(pins):
    class Broken:
        @property
        def state(self):
            raise OSError(5, "Input/output error")

    _, pin = pins.board._inputs[Input.LID]
    pins.board._inputs[Input.LID] = (Broken(), pin)

    assert set(levels(pins.board)) == {"flame", "arm_button"}


def test_no_debouncing_and_no_pull_is_asked_of_the_library(pins):
    assert all(pins.line(number).bounce is None for number in (16, 20, 25))
    assert all(pins.line(number).pull == "floating" for number in (16, 20, 25))


def test_closing_drives_outputs_off_before_the_pins_are_let_go_of(pins):
    pins.board.set(Output.BEAM_ENABLE, is_on=True)
    line = pins.line(22)

    pins.board.close()

    assert [state.state for state in line.states][-1] is False


def test_a_pin_that_is_none_is_refused_with_everything_off():
    pins = PinMap(chip_label="x", inputs={}, outputs={"lamp": Pin(3), "buzzer": Pin(99)})

    with pytest.raises(BoardLost, match="cannot be had"):
        GpioBoard(pins, MockFactory(), clock=HandClock(), doorbell=CountingDoorbell())


# The library itself, played by a stand-in that keeps a trace.


@pytest.fixture
def library(monkeypatch, tmp_path):
    fake = FakeLgpio()
    monkeypatch.setitem(sys.modules, "lgpio", fake)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.delenv("LG_WD", raising=False)
    module = importlib.import_module("gpiozero.pins.lgpio")
    monkeypatch.setattr(module.LGPIOFactory, "_get_revision", lambda _: 0xC03111)
    yield fake
    LocalPiFactory.pins.clear()  # shared by all factories of the process
    sys.modules.pop("gpiozero.pins.lgpio", None)


@pytest.fixture
def lines(tmp_path):
    for name in ("gpiochip0", "gpiochip4"):
        (tmp_path / name).touch()
    labels = iter(["some expander", "pinctrl-bcm2711"])

    def ioctl(descriptor, number, data):
        assert number == GET_CHIPINFO
        label = next(labels).encode()
        data[32 : 32 + len(label)] = label
        return 0

    return Lines(tmp_path, ioctl)


def test_an_active_low_output_is_claimed_once_at_its_off_level(library, lines, tmp_path):
    factory = lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path, lines=lines)

    GpioBoard(PINS, factory, clock=HandClock(), doorbell=CountingDoorbell())

    touched = [call for call in library.trace if call[0] in ("output", "write") and call[1] == 23]
    assert touched == [("output", 23, 1)]


def test_the_library_without_our_class_has_the_glitch_we_avoid(library, lines, tmp_path):
    factory = lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path, lines=lines)
    factory.pin_class = importlib.import_module("gpiozero.pins.lgpio").LGPIOPin

    factory.pin(23).output_with_state(1)

    touched = [call for call in library.trace if call[0] in ("output", "write")]
    assert touched == [("output", 23, 0), ("write", 23, 1)]


def test_the_chip_is_chosen_by_its_label_and_not_by_its_number(library, lines, tmp_path):
    lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path, lines=lines)

    assert library.trace[0] == ("open", 4)


def test_a_folder_that_cannot_be_written_is_refused_before_the_import(lines, tmp_path):
    with pytest.raises(BoardLost, match="may write to"):
        lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path / "none", lines=lines)


def test_the_library_gets_its_working_folder_before_it_is_imported(library, lines, tmp_path):
    lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path, lines=lines)

    assert os.environ["LG_WD"] == str(tmp_path)


def test_without_the_library_no_other_one_is_taken(monkeypatch, lines, tmp_path):
    monkeypatch.setitem(sys.modules, "lgpio", None)

    with pytest.raises(BoardLost, match="extra “board”"):
        lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path, lines=lines)


def test_the_librarys_dead_thread_is_noticed(library):
    assert not is_edge_thread_alive()  # the stand-in's was never started


def test_edges_arrive_by_the_librarys_own_callback(library, lines, tmp_path):
    factory = lgpio_factory("pinctrl-bcm2711", working_folder=tmp_path, lines=lines)
    doorbell = CountingDoorbell()
    board = GpioBoard(PINS, factory, clock=HandClock(), doorbell=doorbell)

    library.callbacks[16](0, 16, 0, 5_000_000)

    assert list(board.take_opened()) == [Input.LID]
    assert doorbell.rings == 1


def test_a_kernel_that_keeps_outputs_on_is_warned_of(tmp_path):
    for driver, kept in (("pinctrl_rp1", "Y\n"), ("pinctrl_bcm2835", "N\n")):
        folder = tmp_path / "module" / driver / "parameters"
        folder.mkdir(parents=True)
        (folder / "persist_gpio_outputs").write_text(kept)

    (said,) = warnings_of_persistence(tmp_path)
    assert "pinctrl_rp1" in said
    assert "strict_gpiod" in said
