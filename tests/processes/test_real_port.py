"""A port that is no practice machine's by the daemon's knowledge: what it may do there."""

import importlib
import subprocess
import sys
import threading
import time
from contextlib import ExitStack

import pytest
from gpiozero.pins.local import LocalPiFactory

from etchdaemon.assembly import Daemon, DaemonPaths, real_parts
from etchdaemon.hardware.gpio_lines import Lines
from etchpath.writer.dots import Order, write_job
from etchwarden.configuring.writing import written
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.errors import Refused
from rig.bench import patch
from support.fakes.fake_lgpio import FakeLgpio
from support.harnesses.interlock_bench import ANSWERS
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 60.0
CHIP = "pinctrl-rp1"
LID, BEAM = 16, 22
NO_LID = f'[board]\nchip = "{CHIP}"\n[outputs.beam_enable]\npin = 22\n'
MINIMAL = NO_LID + "[inputs.lid]\npin = 16\n[outputs.extraction]\npin = 23\n"


def until(holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s, "it did not happen in time"
        time.sleep(0.02)


class Bench:
    def __init__(self, folder, parts):
        self.folder, self.parts = folder, parts
        self.port = folder / "machine" / "port"
        self.socket = folder / "daemon.sock"
        (folder / "state").mkdir()
        self.start("machine", "--folder", str(folder / "machine"))
        until((folder / "machine" / "control.sock").is_socket)

    def start(self, *words):
        child = subprocess.Popen(
            [sys.executable, "-m", "etchwarden", *words], stderr=subprocess.PIPE, text=True
        )
        self.parts.callback(child.communicate)
        self.parts.callback(child.kill)
        return child

    def start_daemon(self, *more):
        return self.start(
            "daemon", "--port", str(self.port), "--socket", str(self.socket),
            "--state", str(self.folder / "state"), *more,
        )  # fmt: skip

    def box(self, text):
        path = self.folder / "box.toml"
        path.write_text(text)
        return path

    def connect(self):
        until(self.socket.is_socket)
        daemon = self.parts.enter_context(PlainClient(self.socket))
        until(lambda: daemon.call("status")["machine"]["link"] == "ready")
        return daemon

    def load(self, daemon):
        gcode_path, sheet_path = self.folder / "job.gcode", self.folder / "job.json"
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with gcode_path.open("wb") as file:
            sheet_path.write_text(write_job(patch(4, 40), file, order).to_json())
        with gcode_path.open("rb") as gcode, sheet_path.open("rb") as sheet:
            daemon.load(gcode.fileno(), sheet.fileno())
        until(lambda: _is_checked(daemon.call("status")["job"]))


def _is_checked(job):
    return job is not None and job["preflight"]["verdict"] == "ready"


MOVES_OR_BURNS = {
    "start": {},
    "home": {},
    "unlock": {},
    "set_origin": {},
    "find_origin": {},
    "move_to": {"x_mm": 1.0, "y_mm": 0.0},
    "move_by": {"x_mm": 1.0, "y_mm": 0.0},
    "trace_outline": {},
}


@pytest.fixture
def bench(tmp_path):
    with ExitStack() as parts:
        yield Bench(tmp_path, parts)


def test_without_a_box_the_port_is_opened_and_only_watched(bench):
    bench.start_daemon()
    daemon = bench.connect()
    bench.load(daemon)

    with pytest.raises(Refused, match="only watches"):
        daemon.call("arm", answers=ANSWERS)
    for method, said in MOVES_OR_BURNS.items():
        with pytest.raises(Refused, match="only watches"):
            daemon.call(method, **said)
    status = daemon.call("status")
    assert status["interlocks"]["is_watch_only"]
    assert not set(MOVES_OR_BURNS) & set(status["may"])
    assert daemon.call("settings")["is_read"]


def test_a_machines_file_that_names_no_port_yet_lets_the_daemon_wait_and_say_so(bench):
    path = bench.box(written("left", {}))

    bench.start("daemon", "--box", str(path), "--socket", str(bench.socket),
                "--state", str(bench.folder / "state"))  # fmt: skip
    until(bench.socket.is_socket)
    daemon = bench.parts.enter_context(PlainClient(bench.socket))

    until(lambda: "names no port yet" in daemon.call("status")["machine"]["sentence"])
    machine = daemon.call("status")["machine"]
    assert (machine["link"], machine["port"]) == ("absent", "")


def test_a_box_whose_chip_is_not_there_opens_nothing_and_says_so(bench):
    child = bench.start_daemon("--box", str(bench.box(MINIMAL)))

    _, said = child.communicate(timeout=PATIENCE_S)

    assert child.returncode == 1
    assert CHIP in said
    assert "Traceback" not in said


@pytest.fixture
def library(monkeypatch):
    """The library for the pins, played; this computer has no chip."""
    fake = FakeLgpio()
    monkeypatch.setitem(sys.modules, "lgpio", fake)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "")
    monkeypatch.delenv("LG_WD")
    module = importlib.import_module("gpiozero.pins.lgpio")
    monkeypatch.setattr(module.LGPIOFactory, "_get_revision", lambda _: 0xC03111)
    yield fake
    LocalPiFactory.pins.clear()
    sys.modules.pop("gpiozero.pins.lgpio", None)


@pytest.fixture
def run_here(bench, tmp_path):
    """Run the daemon in a thread of this process, on the played pins."""
    interval_s = sys.getswitchinterval()
    (tmp_path / "gpiochip0").touch()

    def ioctl(_descriptor, _number, data):
        data[32 : 32 + len(CHIP)] = CHIP.encode()
        return 0

    with ExitStack() as running:

        def run(text):
            places = DaemonPaths(
                port=str(bench.port),
                socket=bench.socket,
                state=tmp_path / "state",
                box=bench.box(text),
            )
            clock, box = real_parts(places, lines=Lines(tmp_path, ioctl))
            daemon = Daemon(places, clock=clock, box=box)
            thread = threading.Thread(target=daemon.run)
            thread.start()
            running.callback(thread.join)
            running.callback(daemon.end)
            return bench.connect()

        yield run
    sys.setswitchinterval(interval_s)


def test_a_box_without_a_lid_contact_only_watches(bench, run_here, library):
    daemon = run_here(NO_LID)
    bench.load(daemon)

    with pytest.raises(Refused, match="No lid contact"):
        daemon.call("arm", answers=ANSWERS)
    assert library.levels[BEAM] == 0


def test_a_real_box_arms_only_when_somebody_shows_at_the_machine(bench, run_here, library):
    library.levels[LID] = 1
    daemon = run_here(MINIMAL)
    bench.load(daemon)
    daemon.call("set_origin")
    until(lambda: "arm" in daemon.call("status")["may"])
    daemon.call("arm", answers=ANSWERS)
    time.sleep(1.0)

    with pytest.raises(Refused, match="Arm the box"):
        daemon.call("start")
    assert "start" not in daemon.call("status")["may"]
    assert daemon.call("status")["state"] == "loaded"
    assert library.levels[BEAM] == 0

    library.levels[LID] = 0
    until(lambda: not _is_closed(daemon, "lid"))
    time.sleep(0.5)  # as a hand holds it; a tenth of a second is the least that counts
    library.levels[LID] = 1
    until(lambda: "start" in daemon.call("status")["may"] or _arm_again(daemon))
    assert library.levels[BEAM] == 0


def _is_closed(daemon, name):
    inputs = {found["name"]: found for found in daemon.call("wiring")["inputs"]}
    return inputs[name]["is_closed"]


def _arm_again(daemon):
    """Whoever opens the lid while it arms has to begin again; that they are there is known."""
    status = daemon.call("status")
    if status["interlocks"]["trips"]:
        daemon.call("reset", names=[trip["name"] for trip in status["interlocks"]["trips"]])
    elif "arm" in status["may"]:
        daemon.call("arm", answers=ANSWERS)
    return False
