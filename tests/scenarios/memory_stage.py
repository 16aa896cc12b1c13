"""A stage in memory: the guarded rig, which plays a scenario as fast as it can be computed."""

from etchdaemon.configuration.loading import read_configuration
from etchdaemon.errors import EtchdaemonError
from etchdaemon.hardware.looking import LOOK_EVERY_S
from etchpractice.control import FAULT_VERBS
from etchpractice.machine import PracticeMachine
from etchpractice.machine_state import MachineState
from etchpractice.scenario.events import Actor
from etchpractice.scenario.observation import Observation
from etchpractice.scenario.people import arguments_of
from etchpractice.scenario.rows import PIECE_MM, amiss, row_light
from etchpractice.scenario.script import GETTING_READY, STARTING, Begins
from etchpractice.scenario.wiped_tile import what_is_wrong
from etchpractice.tile.imperfections import Imperfections
from etchwarden.practice_session.scenario_job import write_grey
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from rig.guarded import GuardedRig
from scenarios.memory_alerts import MemoryAlerts
from scenarios.memory_cable import MemoryCable

BOOT_S = 0.5


class RigOfBox(GuardedRig):
    """A guarded rig, wired and set as the scenario says; both look as often as a real guard."""

    step_s = LOOK_EVERY_S

    def __init__(self, folder, machine, box):
        self._box = box
        super().__init__(folder, machine)

    def make_setup(self):
        if not self._box:
            return super().make_setup()
        return read_configuration(self._box, is_practice=True).setup


class MemoryStage:
    """Plays on a guarded rig; a daemon that is killed or stopped simply gets no turn."""

    def __init__(self, folder, scenario):
        self.picture = scenario.picture
        machine = PracticeMachine(
            firmware=scenario.firmware,
            baud=scenario.baud,
            imperfections=Imperfections(**scenario.imperfections),
        )
        self.rig = RigOfBox(folder, machine, scenario.box)
        self.alerts = MemoryAlerts(folder) if scenario.reads_alerts else None
        self.rig.port.boot_s = BOOT_S
        self.cable = MemoryCable(self.rig.port, self.rig.machine)
        self.is_turned = True  # whether daemon and guard get their turns
        self.refusal = None
        job = folder / "job"
        write_grey(self.picture, folder=job)
        self.sheet = read_sheet(job)
        if self.picture.has_constant_power:
            self.rig.preflight.find("constant power", "acknowledge")
        if self.picture.pauses_in_row is not None:
            self.rig.preflight.find("pause", "refused")
        self._job = job

    def begin(self, scenario):
        """Come to where the scenario begins."""
        self.rig.set_origin()
        self._load(self._job)
        if scenario.begins is Begins.ETCHING:
            for step in (*GETTING_READY, STARTING):
                self.rig.wait_until(lambda step=step: step.moment.offered in self.observe().may)
                self.do(step.event)
            assert self.refusal is None, self.refusal

    def _load(self, job):
        with (job / GCODE_NAME).open("rb") as gcode, (job / SHEET_NAME).open("rb") as sheet:
            self.rig.ask("load", gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())

    def observe(self):
        machine = self.rig.machine
        return Observation(
            machine=MachineState.of(machine),
            status=self.rig.commands.snapshot() if self.is_turned else None,
            refusal=self.refusal,
            look_at_rows=self.look_at_rows,
            look_at_tile=self.look_at_tile,
            look_at_alerts=tuple if self.alerts is None else self.alerts.sent_texts,
        )

    def look_at_rows(self):
        pieces = round(self.sheet.width_mm / PIECE_MM)
        tile = self.rig.machine.tile
        return amiss(row_light(tile, self.rectangle, rows=self.picture.rows, pieces=pieces))

    def look_at_tile(self):
        return what_is_wrong(self.rig.machine.tile, self.rectangle)

    @property
    def rectangle(self):
        frame = self.sheet.picture
        return frame.left_mm, frame.bottom_mm, frame.right_mm, frame.top_mm

    def do(self, event):
        machine = self.rig.machine
        match event.kind.actor:
            case Actor.BOARD:
                getattr(machine.board, event.kind.verb)(**event.parameters)
            case Actor.MACHINE:
                target = machine.faults if event.kind.verb in FAULT_VERBS else machine
                getattr(target, event.kind.verb)(**event.parameters)
            case Actor.CABLE:
                getattr(self.cable, event.kind.verb)(**event.parameters)
            case Actor.HOUSE:
                getattr(self, event.kind.verb)(**event.parameters)
            case Actor.PROCESS:
                getattr(self, event.kind.verb)()
            case Actor.PERSON:
                self.ask(event)

    def ask(self, event):
        try:
            arguments = arguments_of(event, self.observe(), self.picture)
            self.rig.ask(event.kind.verb, **arguments)
        except EtchdaemonError as error:
            self.refusal = str(error)
        else:
            self.refusal = None

    def let_time_pass(self):
        if self.alerts is not None:
            status = self.rig.commands.snapshot() if self.is_turned else None
            self.alerts.note(status, self.rig.machine.now_s)
        if self.is_turned:
            self.rig.doze()
        else:
            self.rig.machine.advance(self.rig.step_s)

    def kill_daemon(self):
        self.is_turned = False
        self.rig.board.disconnect()  # what the kernel does to the wires of a killed process

    def stop_daemon(self):
        self.is_turned = False

    def continue_daemon(self):
        self.is_turned = True

    def unplug_board(self):
        self.rig.wires.is_gone = True
        self.rig.board.disconnect()

    def plug_in_board(self):
        self.rig.board.connect()
        self.rig.wires.is_gone = False

    def turn_wall_clock(self, days):
        self.rig.clock.year += round(days / 365)

    def close(self):
        if self.alerts is not None:
            self.alerts.close()
        self.rig.service.close()
