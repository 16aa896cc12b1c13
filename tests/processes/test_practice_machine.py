"""The practice machine as a process: its port, its board, its verbs, its end."""

import os
import signal
import socket
import subprocess
import sys
import time

import pytest
import serial
from PIL import Image

from etchwire.errors import Refused
from etchwire.simulated_time import SimulatedTime
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 60.0
PROGRAM = (sys.executable, "-m", "etchwarden", "machine")
GREETING = b"Grbl 1.1h ['$' for help]\r\n"


def wait_until(is_so):
    deadline_s = time.monotonic() + PATIENCE_S
    while not is_so():
        assert time.monotonic() < deadline_s, "it did not happen in time"
        time.sleep(0.01)


def is_listening(folder):
    with socket.socket(socket.AF_UNIX) as knock:
        return knock.connect_ex(str(folder / "control.sock")) == 0


@pytest.fixture
def start(tmp_path):
    """Start a practice machine and return its process; its folder is tmp_path / "machine"."""
    started = []

    def begin(*options, folder=tmp_path / "machine"):
        process = subprocess.Popen(
            [*PROGRAM, "--folder", str(folder), *options], stderr=subprocess.PIPE, text=True
        )
        started.append(process)
        wait_until(lambda: is_listening(folder) or process.poll() is not None)
        return process

    yield begin
    for process in started:
        process.kill()
        process.wait()
        process.stderr.close()


@pytest.fixture
def machine(start, tmp_path):
    """The folder of a machine that runs twenty times too fast."""
    start("--speedup", "20")
    return tmp_path / "machine"


def control(folder):
    return PlainClient(folder / "control.sock", peer="the practice machine")


def state(folder):
    with control(folder) as verbs:
        return verbs.call("state")


def open_port(folder):
    """Open the port as the daemon does and wait for the greeting."""
    port = serial.Serial(str(folder / "port"), 115200, timeout=PATIENCE_S)
    assert port.read_until(GREETING).endswith(GREETING)
    return port


def ask(port, line):
    port.write(line + b"\n")
    return port.read_until(b"ok\r\n")


def test_opening_the_port_resets_the_controller_every_time(machine):
    with open_port(machine) as port:
        ask(port, b"G91G0X5")

    with open_port(machine) as port:
        port.write(b"?")

        assert b"MPos:0.000" in port.read_until(b">")


def test_it_answers_and_moves_and_its_clock_goes(machine):
    with open_port(machine) as port, SimulatedTime(machine / "clock") as clock:
        from_s = clock.now_s
        assert b"[OPT:V,15,128]" in ask(port, b"$I")
        ask(port, b"G91G1F600X20")
        ask(port, b"G4P0.01")

        assert clock.now_s - from_s > 2.0
        assert state(machine)["position_mm"][0] == 20


def stream(port, lines, *, late_s, window_bytes=127):
    """Count characters as the daemon does; ask for a report at once, and send lines late.

    Return the refusals.
    """
    in_flight, unread, refusals = [], b"", []
    waiting = [line + b"\n" for line in reversed(lines)]
    while waiting or in_flight:
        port.write(b"?")
        time.sleep(late_s)
        unread += port.read(port.in_waiting)
        *heard, unread = unread.split(b"\n")
        refusals += [line for line in heard if line.startswith((b"error", b"ALARM"))]
        del in_flight[: sum(line.startswith((b"ok", b"error")) for line in heard)]
        batch = b""
        while waiting and sum(in_flight) + len(waiting[-1]) <= window_bytes:
            in_flight.append(len(waiting[-1]))
            batch += waiting.pop()
        port.write(batch)
    return refusals


@pytest.mark.parametrize("speedup", ["20", "1000"])
def test_a_machine_that_runs_too_fast_does_every_line_of_a_host_that_is_late(
    start, tmp_path, speedup
):
    """How long it takes is held to by `tests/etchpractice/test_paced_machine.py`, in moved time."""
    start("--speedup", speedup)
    folder = tmp_path / "machine"
    with open_port(folder) as port:
        ask(port, b"G21G91M4")
        refusals = stream(port, [b"G1X3S0F4000", *[b"X.1S600", b"X.1S0"] * 100], late_s=0.02)
        ask(port, b"G4P0.01")

    assert refusals == []
    assert state(folder)["position_mm"][0] == pytest.approx(23)


def test_unplugged_the_port_is_gone_and_comes_back_under_the_same_name(machine):
    port = open_port(machine)
    with control(machine) as verbs, port:
        verbs.call("unplug")
        assert not (machine / "port").exists()
        with pytest.raises((serial.SerialException, OSError)):
            port.read(1)

        verbs.call("plug_in")

    with open_port(machine) as port:
        assert b"ok" in ask(port, b"G4P0")


def test_the_pictures_of_the_tile_are_written_where_they_were_asked_for(machine, tmp_path):
    with open_port(machine) as port, control(machine) as verbs:
        for line in (b"G91G1X5Y5F4000M4S0", b"X10S600", b"X5S0", b"M5", b"G4P0.01"):
            ask(port, line)

        before, after = tmp_path / "before.png", tmp_path / "after.png"
        verbs.call("picture", before=str(before), after=str(after), rectangle=[0, 0, 20, 10])

    with Image.open(after) as etched, Image.open(before) as unwiped:
        assert etched.size == unwiped.size == (400, 200)
        assert etched.getpixel((200, 100)) < 100 < etched.getpixel((200, 20))


NONSENSE = (
    ("explode", {}, "does not know 'explode'"),
    ("refuse_next_line", {}, "code"),
    ("refuse_next_line", {"kode": 3}, "code"),
    ("set_input", {"name": "lidd", "level": True}, "lid_second"),
    ("picture", {"after": "/nowhere/x.png"}, "No such file"),
    ("picture", {"afterwards": "x.png"}, "afterwards"),
    ("picture", {"after": "x.png", "rectangle": [0, 0, 1e5, 1e5]}, "cannot be made"),
)


def test_a_verb_that_makes_no_sense_is_refused_with_a_sentence(machine):
    for method, params, words in NONSENSE:
        with control(machine) as verbs, pytest.raises(Refused, match=words):
            verbs.call(method, **params)


class BoardClient:
    """Reads the board's lines as the daemon does."""

    def __init__(self, folder):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.settimeout(PATIENCE_S)
        self.socket.connect(str(folder / "board.sock"))
        self.file = self.socket.makefile("r")

    def say(self, line):
        self.socket.sendall(f"{line}\n".encode())

    def until(self, last):
        lines = []
        while not lines or lines[-1] != last:
            line = self.file.readline()
            assert line, f"the board hung up after {lines}"
            lines.append(line.strip())
        return lines

    def close(self):
        self.file.close()
        self.socket.close()


@pytest.fixture
def board(machine):
    client = BoardClient(machine)
    yield client
    client.close()


def test_the_board_tells_every_input_first(board):
    lines = board.until("ready")

    assert lines[0] == "speedup 20"
    assert {"input lid 1", "input loop_closed 0", "input arm_button 0"} <= set(lines)


def test_the_board_tells_of_the_loop_that_the_beam_enable_closes_and_of_the_lid_that_opens_it(
    board, machine
):
    board.until("ready")
    board.say("set beam_enable 1")
    board.until("input loop_closed 1")

    with control(machine) as verbs:
        verbs.call("open_lid")

    assert set(board.until("input loop_closed 0")) >= {"input lid 0", "input lid_second 0"}


def test_the_board_answers_nonsense_with_a_sentence(board):
    board.until("ready")

    for line in ("set beam 1", "set beam_enable 2", "set", "hello"):
        board.say(line)

        assert board.file.readline().startswith("error "), line


def test_the_board_has_one_client_at_a_time(board, machine):
    board.until("ready")
    second = BoardClient(machine)

    assert second.file.readline() == "error the board has a client already\n"
    second.close()


def test_every_output_falls_when_the_board_s_client_goes(machine):
    client = BoardClient(machine)
    client.until("ready")
    client.say("set beam_enable 1")
    client.until("input loop_closed 1")

    client.close()

    wait_until(lambda: not state(machine)["outputs"]["beam_enable"])


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, "shutdown"])
def test_however_it_is_ended_it_leaves_nothing_but_its_folder(start, tmp_path, how):
    process = start()
    folder = tmp_path / "machine"
    if how == "shutdown":
        with control(folder) as verbs:
            verbs.call("shutdown")
    else:
        process.send_signal(how)

    assert process.wait(PATIENCE_S) == 0
    assert list(folder.iterdir()) == []


def test_it_ends_when_whoever_started_it_dies(tmp_path):
    folder = tmp_path / "machine"
    command = [*PROGRAM, "--folder", str(folder)]
    program = f"import subprocess, time; subprocess.Popen({command!r}); time.sleep(60)"
    parent = subprocess.Popen([sys.executable, "-c", program])
    wait_until((folder / "control.sock").is_socket)

    os.kill(parent.pid, signal.SIGKILL)
    parent.wait()

    wait_until(lambda: list(folder.iterdir()) == [])


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--surface", "marble"), "white-tile"),
        (("--head", "nobody's"), "nobody's"),
        (("--speedup", "0.5"), "speedup"),
        (("--firmware", "16-bit"), "16-bit"),
    ],
)
def test_an_option_that_makes_no_sense_is_refused_with_a_sentence(start, options, words):
    process = start(*options)

    assert process.wait(PATIENCE_S) != 0
    said = process.stderr.read()
    assert words in said
    assert "Traceback" not in said


def test_a_folder_in_use_is_refused(start, machine):
    process = start("--speedup", "1", folder=machine)

    assert process.wait(PATIENCE_S) != 0
    assert "Traceback" not in process.stderr.read()
    with open_port(machine) as port:
        assert b"ok" in ask(port, b"G4P0")
