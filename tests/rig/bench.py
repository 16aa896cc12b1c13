"""The whole daemon on the practice machine, in memory, with time moved by hand."""

from pathlib import Path
from typing import Any

import numpy as np

from etchdaemon.service.command_queue import CommandQueue, Request
from etchdaemon.service.job.reentry import Reentry
from etchdaemon.service.job.spool import Spool
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.loop import Service
from etchpath.writer.dots import Order, write_job
from etchpractice.machine import PracticeMachine
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Recipe
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet
from rig.memory import (
    MemoryClock,
    MemoryContact,
    MemoryPort,
    MemoryPreflight,
    MemoryRecords,
    MemoryRests,
    NoDoorbell,
)
from rig.unguarded import Unguarded
from support.harnesses.calls import as_table, call_of

STEP_S = 0.004
LONG_S = 60.0


def light_by_row(rig: "Rig", rows: int) -> Any:
    """Return the light on each row of the tile, top row first, over half millimetres along it."""
    cells = rig.machine.tile.exposure_j_per_mm2((0.0, 0.0, 30.0, rows * 0.1))
    return cells.reshape(rows, len(cells) // rows, 60, -1).mean(axis=(1, 3))[::-1]


class Rig:
    """Service and practice machine, joined; nothing moves unless a test says so."""

    step_s = STEP_S  # of the machine's, between two looks of the loop

    def __init__(self, folder: Path, machine: PracticeMachine | None = None) -> None:
        self.folder = folder
        self.machine = machine = machine or PracticeMachine()
        self.clock = MemoryClock(machine)
        self.port = MemoryPort(machine)
        self.contact = MemoryContact(machine, self.clock)
        self.guard = self.make_guard()
        self.records = self.make_records()
        self.preflight = MemoryPreflight()
        spool = Spool(folder / "spool")
        self.reentry = reentry = Reentry(history=self.records, spool=spool, rests=MemoryRests())
        self.commands = CommandQueue(spool=spool, doorbell=NoDoorbell(), reentry=reentry)
        self.daemon_machine = self.make_machine()
        self.service = Service(
            machine=self.daemon_machine,
            commands=self.commands,
            clock=self.clock,
            records=self.records,
            guard=self.guard,
            preflight=self.preflight,
        )

    def make_records(self):
        """Return what stands for the logbook."""
        return MemoryRecords()

    def make_machine(self):
        """Return the daemon's side of the controller."""
        return Machine(open_port=self.port, beam=self.guard, port_name="practice")

    def make_guard(self):
        """Return what stands for the interlocks: nothing, in this rig."""
        return Unguarded(self.contact)

    def __enter__(self):
        return self

    def __exit__(self, *_) -> None:
        self.service.close()

    # Time

    def step(self, times: int = 1) -> None:
        """Let the loop look, and a step of time pass, so many times."""
        for _ in range(times):
            self.service.step()
            self.machine.advance(self.step_s)

    def wait(self, seconds: float) -> None:
        """Let simulated time pass."""
        self.step(round(seconds / self.step_s))

    def wait_until(self, holds, *, within_s: float = LONG_S) -> None:
        """Step until `holds()`; fail when it does not within so much simulated time."""
        for _ in range(round(within_s / self.step_s)):
            if holds():
                return
            self.step()
        raise AssertionError(f"it did not come to that within {within_s} s: {self.state}")

    # What is shown

    @property
    def state(self) -> str:
        return self.commands.snapshot().state

    @property
    def link(self) -> str:
        return self.commands.snapshot().machine.link

    @property
    def run(self) -> dict[str, Any]:
        return self.commands.snapshot().run

    def shown_position(self) -> list[float]:
        return self.commands.snapshot().machine.position_mm

    @property
    def etch(self):
        """What the sequencer knows of the run, as no snapshot tells it."""
        return self.service._idle.sequencer.etch

    @property
    def job_sheet(self) -> Sheet:
        """The sheet of the job that is loaded."""
        return self.service._idle.job.sheet

    @property
    def record(self):
        return self.records.runs[-1]

    # What a person does

    def ask(self, command: str, **arguments: Any) -> Any:
        """Ask, and step until there is an answer; raise what it was refused with."""
        if command in ("start", "load", "reenter"):
            self.show_somebody()
        request = self.submit(command, **arguments)
        self.wait_until(lambda: request.is_answered)
        return as_table(request.answer(0))

    def show_somebody(self) -> None:
        """Let the box be armed, as far as this one has to be."""
        self.guard.arm()
        self.step()

    def request(self, command: str, **arguments: Any) -> Any:
        """Ask for what is answered at once, whatever the loop does."""
        return as_table(self.commands.request(call_of(command, **arguments)))

    def submit(self, command: str, **arguments: Any) -> Request:
        return self.commands.submit(call_of(command, **arguments))

    def make_job(
        self,
        bits=None,
        *,
        head=PRACTICE_HEADS["practice-20w"],
        is_both_directions: bool = True,
        **changes: Any,
    ) -> Path:
        """Write a small job with the house's own writer and return its folder."""
        folder = self.folder / f"job-{len(list(self.folder.glob('job-*')))}"
        folder.mkdir()
        recipe = Recipe(
            **{
                "surface": "practice tile, white paint",
                "feed_mm_per_min": 4000.0,
                "power_ratio": 0.6,
                "line_spacing_mm": 0.1,
            }
            | changes
        )
        order = Order(
            title="patch",
            head=head,
            recipe=recipe,
            halftone="none",
            is_both_directions=is_both_directions,
        )
        with (folder / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(5, 60) if bits is None else bits, file, order)
        (folder / SHEET_NAME).write_text(sheet.to_json())
        return folder

    def load(self, folder: Path | None = None) -> Sheet:
        """Load a job, a small one of our own unless another is given."""
        folder = self.make_job() if folder is None else folder
        with (folder / GCODE_NAME).open("rb") as gcode, (folder / SHEET_NAME).open("rb") as sheet:
            self.ask("load", gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())
        return Sheet.from_json((folder / SHEET_NAME).read_text())

    def get_ready(self) -> None:
        self.wait_until(lambda: self.link == "ready")

    def set_origin(self) -> None:
        """Set the origin where the head is, unless it is known."""
        self.get_ready()
        if not self.commands.snapshot().machine.origin.is_known:
            self.wait_until(lambda: "set_origin" in self.commands.snapshot().may)
            self.ask("set_origin")

    def start(self, folder: Path | None = None) -> Sheet:
        """Open the port, set the origin, load and start."""
        self.set_origin()
        sheet = self.load(folder)
        self.ask("start")
        return sheet

    def etch_until_row(self, row: int) -> None:
        """Step until the head is in `row` of the picture, its beam on."""
        self.wait_until(lambda: self.run.row == row)

    def wait_for_the_end(self, *, within_s: float = LONG_S) -> None:
        self.wait_until(lambda: self.state == "ended", within_s=within_s)


# mm/min at which the 8-bit controller takes single dots in as fast as they run: every row is alike.
KEPT_UP_WITH = 2000.0


def patch(rows: int, columns: int):
    """Return dots, every second of them burnt, as a dithered middle grey has them."""
    bits = np.zeros((rows, columns), dtype=bool)
    bits[::2, ::2] = True
    bits[1::2, 1::2] = True
    return bits


def dashes(rows: int, columns: int):
    """Return such dots, each a millimetre long, where it is no matter how busy the line is."""
    return patch(rows, columns // 10).repeat(10, axis=1)
