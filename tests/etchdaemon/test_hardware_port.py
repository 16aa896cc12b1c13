"""The serial port on a pseudo-terminal, the clocks, the doorbell and the service manager."""

import os
import subprocess
import sys
import termios
import threading
import tty
from pathlib import Path

import pytest

from etchdaemon.errors import PortLost
from etchdaemon.hardware import clock as clocks
from etchdaemon.hardware.clock import PracticeClock, SystemClock
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.hardware.serial_port import SerialPort, opener
from etchpractice.link.terminals import stop_taking
from etchwire.simulated_time import SimulatedTime

NOBODY = ["65534"]


class Terminal:
    """The machine's end of a pseudo-terminal."""

    def __init__(self):
        self.master, other = os.openpty()
        tty.setraw(other)
        self.path = os.ttyname(other)
        os.close(other)

    def close(self):
        if self.master >= 0:
            os.close(self.master)
            self.master = -1


@pytest.fixture
def terminal():
    made = Terminal()
    yield made
    made.close()


@pytest.fixture
def port(terminal):
    made = SerialPort(terminal.path)
    yield made
    made.close()


def _read(port):
    """Read until something has come: the terminal hands over in its own time."""
    while not (data := port.read_waiting()):
        pass
    return data


def _read_until(terminal, last):
    """Read at the machine's end until `last` has come, in however many pieces."""
    data = b""
    while last not in data:
        data += os.read(terminal.master, 4096)
    return data


def _fill(port):
    for _ in range(100):
        port.write(b"X" * 4096)


def _stop(terminal, port):
    """Let nothing be taken any more, and wait until the kernel has heard of it: in order."""
    stop_taking(terminal.master)
    os.write(terminal.master, b"!")
    assert _read(port) == b"!"


def test_bytes_go_through_as_they_are(terminal, port):
    every_byte = bytes(range(256))

    port.write(every_byte)
    os.write(terminal.master, every_byte)

    assert _read_until(terminal, every_byte[-1:]) == every_byte
    assert _read(port) == every_byte


def test_reading_does_not_wait(port):
    assert port.read_waiting() == b""


def test_the_line_runs_at_115200_baud_with_no_flow_control(terminal, port):
    attributes = termios.tcgetattr(terminal.master)

    assert attributes[5] == termios.B115200
    assert not attributes[0] & (termios.IXON | termios.IXOFF)
    assert not attributes[2] & termios.CRTSCTS


def test_a_port_that_is_open_cannot_be_opened_again(terminal, port):
    with pytest.raises(PortLost, match="in use by another program"):
        SerialPort(terminal.path)


def test_a_closed_port_can_be_opened_again(terminal, port):
    port.close()

    SerialPort(terminal.path).close()


@pytest.mark.parametrize("user", [[], NOBODY], ids=["as it is", "as nobody"])
def test_a_killed_daemons_port_can_be_opened_by_the_next_whoever_it_runs_as(user):
    if user and os.geteuid() != 0:
        user = []  # whoever tests is no root already
    program = [sys.executable, str(Path(__file__).with_name("port_after_a_kill.py")), *user]

    done = subprocess.run(program, capture_output=True, text=True, check=False)

    wanted = f"opened again as {user[0] if user else os.geteuid()}\n"
    assert (done.stdout, done.stderr) == (wanted, "")


def test_a_port_that_is_not_there_is_named(tmp_path):
    with pytest.raises(PortLost, match=r"There is no port .*absent"):
        SerialPort(str(tmp_path / "absent"))


def test_a_port_that_is_not_named_yet_is_told_from_one_that_is_gone():
    with pytest.raises(PortLost, match="names no port yet"):
        SerialPort("")


def test_a_file_is_no_port(tmp_path):
    path = tmp_path / "file"
    path.write_text("")

    with pytest.raises(PortLost, match="no serial port"):
        SerialPort(str(path))


def test_a_pulled_cable_is_noticed_when_reading(terminal, port):
    terminal.close()

    with pytest.raises(PortLost, match="gone"):
        port.read_waiting()


def test_a_pulled_cable_is_noticed_when_writing(terminal, port):
    terminal.close()

    with pytest.raises(PortLost, match="gone"):
        port.write(b"?")


def test_a_pulled_cable_does_not_disturb_closing_or_emptying(terminal, port):
    terminal.close()

    with pytest.raises(PortLost):
        port.discard_output()
    port.close()


def test_a_closed_port_is_lost_and_nothing_worse(port):
    port.close()

    for act in (port.read_waiting, port.discard_output, lambda: port.write(b"?")):
        with pytest.raises(PortLost):
            act()


@pytest.mark.fault("write blocks")
def test_a_port_that_takes_no_more_is_lost(port):
    with pytest.raises(PortLost):
        _fill(port)


@pytest.mark.fault("write blocks")
def test_of_a_port_that_takes_nothing_at_all_nobody_says_that_the_cable_is_out(terminal, port):
    _stop(terminal, port)

    with pytest.raises(PortLost, match="takes no more bytes"):
        _fill(port)


def test_a_port_that_took_nothing_takes_again_when_it_is_opened_anew(terminal, port):
    _stop(terminal, port)
    with pytest.raises(PortLost):
        _fill(port)
    port.close()

    again = SerialPort(terminal.path)
    again.write(b"?")
    again.close()


def test_the_wall_clock_of_a_practice_can_be_turned(tmp_path):
    with SimulatedTime.create(tmp_path / "clock") as simulated:
        clock = PracticeClock(tmp_path / "clock", seconds_per_wall_second=20)
        year, now_s = int(clock.utc_now()[:4]), clock.now_s()

        simulated.wall_ahead_s = 366 * 86_400

        assert int(clock.utc_now()[:4]) in (year + 1, year + 2)
        assert clock.now_s() == now_s


def test_what_has_not_left_yet_can_be_thrown_away(terminal, port):
    port.write(b"G1X1\n")

    port.discard_output()
    port.write(b"\x18")

    assert _read_until(terminal, b"\x18").endswith(b"\x18")


@pytest.mark.fault("comes back under another name")
def test_a_link_is_followed_anew_at_every_opening(tmp_path, terminal):
    link = tmp_path / "port"
    link.symlink_to(terminal.path)
    open_port = opener(str(link))
    open_port().close()
    other = Terminal()
    link.unlink()
    link.symlink_to(other.path)

    second = open_port()

    second.write(b"?")
    assert os.read(other.master, 10) == b"?"
    second.close()
    other.close()


# Clocks


def test_the_system_clock_is_monotonic_and_writes_utc():
    clock = SystemClock()

    assert clock.now_s() <= clock.now_s()
    assert clock.utc_now().endswith("Z")


class Wall:
    """A wall clock that is moved by hand."""

    def __init__(self):
        self.now_s = 100.0

    def monotonic(self):
        return self.now_s


@pytest.fixture
def practice(tmp_path):
    """A practice clock on simulated time, with a wall clock moved by hand."""
    path = tmp_path / "clock"
    simulated, wall = SimulatedTime.create(path), Wall()
    with simulated:
        yield simulated, wall, PracticeClock(path, seconds_per_wall_second=20, wall=wall.monotonic)


def test_the_practice_clock_shows_simulated_time(practice):
    simulated, _, clock = practice
    simulated.now_s = 12.5

    assert clock.now_s() == 12.5


def test_simulated_time_may_wait_for_two_seconds(practice):
    simulated, wall, clock = practice
    simulated.now_s = 5.0
    clock.now_s()
    wall.now_s += 2.0

    assert clock.now_s() == 5.0


def test_a_dead_practice_machine_does_not_stop_the_daemons_patience(practice):
    simulated, wall, clock = practice
    simulated.now_s = 5.0
    clock.now_s()
    wall.now_s += 3.5
    assert clock.now_s() == 6.5

    wall.now_s += 1.0

    assert clock.now_s() == 7.5


def test_the_practice_clock_never_goes_back_when_simulated_time_goes_on(practice):
    simulated, wall, clock = practice
    wall.now_s += 10.0
    late_s = clock.now_s()

    simulated.now_s = 0.1

    assert clock.now_s() == late_s + 0.1
    assert clocks.STANDSTILL_S == 2.0


def test_the_practice_clock_follows_a_machine_that_stands_where_the_dead_one_stood(
    practice, tmp_path
):
    simulated, wall, clock = practice
    simulated.now_s = 50.0
    clock.now_s()

    with SimulatedTime.create(tmp_path / "clock") as another:
        assert clock.now_s() == 50.0, "the dead one's file is as it was"
        another.now_s = 3.0
        wall.now_s += 2.5
        late_s = clock.now_s()
        another.now_s = 4.0

        assert (late_s, clock.now_s()) == (50.5, 51.5)


# Doorbell


def test_a_ring_before_the_wait_is_not_lost():
    bell = EventDoorbell()
    bell.ring()

    bell.wait(60.0)  # returns at once, or the test does not end

    bell.close()


def test_a_ring_from_another_thread_ends_the_wait():
    bell = EventDoorbell()
    ringer = threading.Thread(target=bell.ring)
    ringer.start()

    bell.wait(60.0)

    ringer.join()
    bell.close()


def test_many_rings_are_one():
    bell = EventDoorbell()
    for _ in range(1000):
        bell.ring()
    bell.wait(60.0)

    bell.wait(0.0)

    bell.close()


@pytest.mark.fault("port of another machine, with the practice machine's folder")
def test_beside_simulated_contacts_only_the_practice_machines_own_port_is_opened(
    terminal, tmp_path
):
    other = Terminal()
    own, named = tmp_path / "port", tmp_path / "named"
    own.symlink_to(terminal.path)
    named.symlink_to(own)
    try:
        for foreign in ("/dev/null", other.path):
            with pytest.raises(PortLost, match="practice machine's"):
                opener(foreign, practice_port=own)()
    finally:
        other.close()

    opener(str(named), practice_port=own)().close()


def test_a_practice_port_that_leads_to_a_real_device_is_not_opened(tmp_path):
    own = tmp_path / "port"
    own.symlink_to("/dev/null")

    with pytest.raises(PortLost, match="practice machine's"):
        opener(str(own), practice_port=own)()
