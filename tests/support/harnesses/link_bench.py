"""A practice machine and a daemon on a port that is only a name for it, as real processes."""

import socket
import time
from contextlib import suppress
from dataclasses import replace
from functools import partial

from etchpath.writer.dots import Order, write_job
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.errors import Refused
from rig.bench import patch
from support.harnesses.interlock_bench import ANSWERS
from support.harnesses.plain_client import PlainClient
from support.harnesses.presses import pressing_until
from support.harnesses.started import started

PATIENCE_S = 60.0
SHORT = patch(3, 40)
# Everything wired, and a purge that nobody has to wait for.
BOX = """
[board]
chip = "pinctrl-rp1"
[inputs]
lid = {pin = 16}
lid_second = {pin = 17}
air_flow = {pin = 18}
flame = {pin = 20}
stop_circuit = {pin = 21}
temperature = {pin = 24}
arm_button = {pin = 25}
loop_closed = {pin = 26}
[outputs]
beam_enable = {pin = 22}
extraction = {pin = 23}
lamp = {pin = 27}
buzzer = {pin = 5}
heartbeat = {pin = 6}
[extraction]
purge_s = 1
"""


def quick_box(folder):
    """Write such a box's file into `folder` and return it."""
    path = folder / "box.toml"
    path.write_text(BOX)
    return path


class Bench:
    """A practice machine, and a daemon on a port that is only a name for it."""

    def __init__(self, folder, parts):
        self.folder, self._parts = folder, parts
        self.machine, self.port = folder / "machine", folder / "port"
        self.records = folder / "records"
        self.records.mkdir()
        self.daemon = None

    def begin(self, *, speedup=20, starts_daemon=True):
        """Plug the machine in, and start the daemon."""
        quick_box(self.folder)
        self._start("machine", "--folder", str(self.machine), "--speedup", str(speedup))
        until(lambda: _is_answered(self.machine / "control.sock"))
        self.port.symlink_to(self.machine / "port")
        if starts_daemon:
            self.begin_daemon()

    def begin_daemon(self):
        path = self.folder / "daemon.sock"
        self.daemon = self._start(
            "daemon", "--port", str(self.port), "--socket", str(path),
            "--state", str(self.records), "--practice", str(self.machine),
            "--box", str(self.folder / "box.toml"),
        )  # fmt: skip
        until(lambda: _is_answered(path))
        self._client = self._parts.enter_context(PlainClient(path))

    def _start(self, *words):
        log = self._parts.enter_context((self.folder / f"{words[0]}.log").open("wb"))
        return started(self._parts, *words, stdout=log, stderr=log)

    def put_on_port(self, device):
        """Let the practice machine's port be another device."""
        fresh = self.folder / "port.new"
        fresh.symlink_to(device)
        fresh.replace(self.machine / "port")

    def ask(self, method, **params):
        return self._client.call(method, **params)

    def do(self, verb, **params):
        if verb == "unplug":
            self.last_device = self.port.resolve()
        with self.ask_machine() as machine:
            return machine.call(verb, **params)

    def ask_machine(self):
        return PlainClient(self.machine / "control.sock", peer="the practice machine")

    def until(self, holds):
        """Wait until the snapshot is so, and return it."""
        deadline_s = time.monotonic() + PATIENCE_S
        while not holds(status := self.ask("status")):
            assert time.monotonic() < deadline_s, status
            time.sleep(0.02)
        return status

    def start(self, bits, **recipe):
        """Load, arm as a person at the machine would, and start; return the sheet."""
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=replace(PRACTICE_RECIPES["practice-20w"], **recipe),
            halftone="none",
        )
        gcode_path, sheet_path = self.folder / "job.gcode", self.folder / "job.json"
        with gcode_path.open("wb") as file:
            written = write_job(bits, file, order)
        sheet_path.write_text(written.to_json())
        self.until(lambda status: status["machine"]["link"] == "ready")
        with gcode_path.open("rb") as gcode, sheet_path.open("rb") as sheet:
            self._client.load(gcode.fileno(), sheet.fileno())
        self.until(self._has_origin)
        self.arm_and_start()
        return written

    def arm_and_start(self):
        """Do what a person at the machine does before an etch; reset what has tripped."""
        press = partial(self.do, "press_button")
        self.until(pressing_until(self._may_arm, press))
        self.ask("arm", answers=ANSWERS)
        self.until(pressing_until(lambda status: "start" in status["may"], press))
        self.ask("start")

    def _has_origin(self, status):
        """Set it, and again where the controller was opened anew meanwhile: a busy daemon does."""
        if "set_origin" in status["may"] and not status["machine"]["origin"]["is_known"]:
            with suppress(Refused):
                self.ask("set_origin")
            return False
        return status["machine"]["origin"]["is_known"]

    def _may_arm(self, status):
        """Reset what has tripped, some of it at the machine only, until it is good again."""
        if "reset" in status["may"]:
            with suppress(Refused):
                self.ask("reset", names=[trip["name"] for trip in status["interlocks"]["trips"]])
        return "arm" in status["may"]

    def etch_until_row(self, row):
        self.until(lambda status: ((status["run"] or {}).get("row") or 0) >= row)

    def end_of_run(self):
        return self.until(lambda status: status["state"] == "ended")["run"]

    def etch_the_next(self):
        self.start(SHORT)
        assert self.end_of_run()["ended"] == "complete"

    def events(self, run):
        return self.ask("run_events", id=run["id"])["events"]


def until(holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s, "it did not happen in time"
        time.sleep(0.02)


def _is_answered(path):
    """Return whether somebody listens there: a socket is bound a moment before."""
    with socket.socket(socket.AF_UNIX) as knock:
        return path.is_socket() and knock.connect_ex(str(path)) == 0
