"""Getting to know what stands at the other end of the cable."""

import pytest

from etchdaemon.errors import CommandRefused
from etchpractice.link.foreign_devices import SENTENCES


def _sentence(rig):
    return rig.commands.snapshot().machine.sentence


@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
def test_a_machine_of_either_firmware_gets_ready(rig_of, firmware):
    rig = rig_of(firmware=firmware)

    rig.wait_until(lambda: rig.link == "ready", within_s=8.0)

    assert rig.commands.snapshot().machine.firmware.startswith(firmware)


def test_a_board_whose_boot_loader_takes_its_time_is_waited_for(rig):
    rig.port.boot_s = 2.0

    rig.wait_until(lambda: rig.link == "ready", within_s=4.0)


def test_a_board_that_greets_twice_gets_ready(rig):
    rig.step(10)
    rig.machine.greet_again()

    rig.wait_until(lambda: rig.link == "ready", within_s=2.0)


def test_a_board_that_did_not_restart_is_asked_and_then_restarted_on_purpose(rig_of):
    rig = rig_of(firmware="32-bit")  # its port does not reset it
    rig.machine.advance(1.0)
    rig.machine.read()  # the greeting went by while nobody listened

    rig.wait_until(lambda: rig.link == "ready", within_s=8.0)

    assert b"?" in rig.port.written
    assert b"\x18" in rig.port.written


def test_a_machine_that_moves_is_brought_to_rest_before_it_is_restarted(rig_of):
    rig = rig_of(firmware="32-bit")
    rig.machine.advance(1.0)
    rig.machine.write(b"G91G1X200F2000\n")
    rig.machine.advance(0.5)
    rig.machine.read()

    rig.wait_until(lambda: rig.link == "ready", within_s=10.0)

    assert rig.port.written.index(b"!") < rig.port.written.index(b"\x18")
    x_mm = rig.shown_position()[0]
    assert x_mm == pytest.approx(rig.machine.head_mm[0], abs=0.1)


@pytest.mark.parametrize(
    ("settings", "word"),
    [({32: 0}, "laser mode"), ({13: 1}, "inches"), ({30: 0}, "full power")],
)
def test_a_machine_set_up_wrongly_is_refused_with_the_reason(rig_of, settings, word):
    rig = rig_of(settings=settings)

    rig.wait_until(lambda: rig.link == "refused", within_s=5.0)

    assert word in _sentence(rig)
    rig.load()
    with pytest.raises(CommandRefused, match=word):
        rig.ask("start")


def test_motors_that_let_go_at_rest_are_warned_of(rig_of):
    rig = rig_of(settings={1: 25})

    rig.get_ready()

    assert "slip between rows" in _sentence(rig)


def test_a_machine_that_starts_locked_waits_for_a_person_to_unlock_it(rig_of):
    rig = rig_of(settings={22: 1})
    rig.wait_until(lambda: rig.link == "refused", within_s=5.0)
    rig.wait(10.0)
    assert rig.link == "refused"
    assert "locked" in _sentence(rig)

    rig.ask("unlock")

    rig.wait_until(lambda: rig.link == "ready", within_s=2.0)


def test_a_machine_that_starts_locked_can_be_homed(rig_of):
    rig = rig_of(settings={22: 1})
    rig.wait_until(lambda: rig.link == "refused", within_s=5.0)
    assert {"home", "unlock"} <= set(rig.commands.snapshot().may)

    rig.ask("home")

    rig.wait_until(lambda: rig.link == "ready", within_s=120.0)


def test_nothing_is_written_to_the_controllers_memory_unasked(rig):
    rig.set_origin()
    asked = len(rig.port.written)
    rig.start()
    rig.wait_for_the_end()

    written = bytes(rig.port.written[asked:])
    assert b"G10" not in written
    assert not any(line.startswith(b"$") and b"=" in line for line in written.split(b"\n"))


def test_an_origin_is_set_alone_and_read_back(rig):
    rig.get_ready()
    rig.machine.write(b"G0X30Y20\n")
    rig.wait(3.0)
    rig.wait_until(lambda: "set_origin" in rig.commands.snapshot().may)

    rig.ask("set_origin")
    rig.get_ready()
    rig.wait(5.0)

    assert rig.shown_position() == pytest.approx([0.0, 0.0])
    assert rig.machine.head_mm == pytest.approx((30.0, 20.0), abs=0.05)


def test_an_open_door_is_waited_for(rig):
    rig.machine.open_door_pin()
    rig.wait_until(lambda: rig.link == "refused", within_s=8.0)
    assert "lid is open" in _sentence(rig)

    rig.machine.close_door_pin()

    rig.wait_until(lambda: rig.link == "ready", within_s=10.0)


def test_a_port_that_is_not_there_is_looked_for_every_second(rig):
    rig.machine.unplug()
    rig.wait(5.0)
    assert rig.link == "absent"

    rig.machine.plug_in()

    rig.wait_until(lambda: rig.link == "ready", within_s=2.5)


@pytest.mark.fault("port taken by another program")
def test_a_port_in_use_by_another_program_is_told_of_and_taken_when_it_is_free(rig):
    rig.port.is_taken = True
    rig.wait(2.0)
    assert "in use" in _sentence(rig)

    rig.port.is_taken = False

    rig.wait_until(lambda: rig.link == "ready", within_s=2.5)


@pytest.mark.fault("unplugged while opening")
def test_a_machine_unplugged_while_it_is_opened_is_opened_again(rig):
    rig.step(5)
    rig.machine.unplug()
    rig.wait(2.0)

    rig.machine.plug_in()

    rig.wait_until(lambda: rig.link == "ready", within_s=3.0)


def test_a_machine_that_answers_nothing_is_refused_and_asked_again(rig):
    rig.port.boot_s = 0.5
    rig.step(10)
    rig.machine.fall_silent()
    rig.wait_until(lambda: rig.link == "refused", within_s=10.0)
    assert "Nothing answers" in _sentence(rig)

    rig.machine.speak_again()

    rig.wait_until(lambda: rig.link == "ready", within_s=15.0)


class _OtherDevice:
    """Something else on the port: it says what it is given, or talks by itself."""

    is_plugged = True

    def __init__(self, machine, *, echo=None, says=b""):
        self._machine, self._echo, self._says = machine, echo, says
        self._out = b""
        self._said_at_s = 0.0

    def open_port(self, boot_s):
        pass

    def write(self, data):
        if self._echo is not None:
            self._out += self._echo(data)

    def read(self):
        if self._says and self._machine.now_s - self._said_at_s > 0.2:
            self._said_at_s = self._machine.now_s
            self._out += self._says
        data, self._out = self._out, b""
        return data


@pytest.mark.slow
@pytest.mark.fault("wrong device on the port")
@pytest.mark.parametrize(
    "behaviour",
    [
        {"echo": lambda data: data},
        {"says": SENTENCES},
        {"echo": lambda _: bytes(range(0x80, 0xE0, 3))},
        {"says": b"\xe6\x1c\x06\n\x9e"},
    ],
    ids=["a modem that echoes", "a satellite receiver", "wrong baud rate", "noise"],
)
def test_another_device_on_the_port_is_never_taken_for_the_machine(rig, behaviour):
    rig.port.hangs_on(_OtherDevice(rig.machine, **behaviour))

    rig.wait_until(lambda: rig.link == "refused", within_s=10.0)
    assert "115200 baud" in _sentence(rig)
    rig.wait(30.0)

    assert rig.link != "ready"
    assert set(rig.port.written) <= set(b"?\x18")
