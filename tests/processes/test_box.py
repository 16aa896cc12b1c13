"""A daemon killed or stopped in mid-run, with real processes and the practice board's socket."""

import os
import signal
import time
from contextlib import ExitStack
from functools import partial

import pytest

from etchpath.writer.dots import Order, write_job
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Recipe
from rig.bench import patch
from support.harnesses.interlock_bench import ANSWERS
from support.harnesses.link_bench import quick_box
from support.harnesses.plain_client import PlainClient
from support.harnesses.presses import pressing_until
from support.harnesses.started import started

PATIENCE_S = 60.0


def until(holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s, "it did not happen in time"
        time.sleep(0.02)


class Workshop:
    """Practice machine and daemon as processes, in the middle of a picture."""

    def __init__(self, folder, parts):
        self.folder = folder
        self.parts = parts
        machine, records, box = folder / "machine", folder / "records", quick_box(folder)
        self.start("machine", "--folder", str(machine))
        until((machine / "control.sock").is_socket)
        self.daemon_process = self.start(
            "daemon", "--port", str(machine / "port"), "--socket", str(folder / "daemon.sock"),
            "--state", str(records), "--practice", str(machine), "--box", str(box),
        )  # fmt: skip
        until((folder / "daemon.sock").is_socket)
        machine_client = PlainClient(machine / "control.sock", peer="the practice machine")
        self.machine = parts.enter_context(machine_client)
        self.daemon = parts.enter_context(PlainClient(folder / "daemon.sock"))
        self.etch()

    def start(self, *words):
        return started(self.parts, *words)

    def etch(self):
        recipe = Recipe(
            surface="practice tile, white paint",
            feed_mm_per_min=4000.0,
            power_ratio=0.6,
            line_spacing_mm=0.1,
        )
        head = PRACTICE_HEADS["practice-20w"]
        order = Order(title="patch", head=head, recipe=recipe, halftone="none")
        with (self.folder / "job.gcode").open("wb+") as gcode:
            sheet = write_job(patch(800, 100), gcode, order)
        (self.folder / "job.json").write_text(sheet.to_json())
        gcode_path, text_path = self.folder / "job.gcode", self.folder / "job.json"
        with gcode_path.open("rb") as gcode, text_path.open("rb") as text:
            self.daemon.load(gcode.fileno(), text.fileno())
        until(lambda: "set_origin" in self.snapshot["may"])
        self.daemon.call("set_origin")
        press = partial(self.machine.call, "press_button")
        until(pressing_until(lambda: "arm" in self.snapshot["may"], press))
        self.daemon.call("arm", answers=ANSWERS)
        until(pressing_until(lambda: "start" in self.snapshot["may"], press))
        self.daemon.call("start")
        until(lambda: (self.snapshot["run"] or {}).get("etched_rows", 0) > 2)

    @property
    def snapshot(self):
        return self.daemon.call("status")

    @property
    def seen(self):
        return self.machine.call("state")


@pytest.fixture
def workshop(tmp_path):
    with ExitStack() as parts:
        yield Workshop(tmp_path, parts)


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP], ids=["killed", "stopped"])
def test_a_daemon_that_is_gone_takes_the_beam_with_it(workshop, how):
    assert workshop.seen["inputs"]["loop_closed"]

    os.kill(workshop.daemon_process.pid, how)
    until(lambda: not workshop.seen["inputs"]["loop_closed"])

    assert not workshop.seen["is_burning"]


def test_a_lid_opened_at_the_machine_ends_the_run_and_is_told(workshop):
    workshop.machine.call("open_lid")
    until(lambda: workshop.snapshot["run"]["ended"])

    assert workshop.snapshot["run"]["ended"] == "stopped"
    assert workshop.snapshot["interlocks"]["trips"][0]["name"] == "lid closed"
    assert not workshop.seen["outputs"]["beam_enable"]
