"""What the controller's program works on: settings, modes, planner, motors, outputs, its line.

It does what is asked of it at this moment and decides nothing: what a byte or a line means, and
what follows from a hold or an alarm, is for the parts above it.
"""

from collections.abc import Generator, Mapping
from typing import Final

from etchpractice.controller.faults import Faults
from etchpractice.controller.limits import AXIS_LETTERS, Limits
from etchpractice.controller.line_input import LineInput
from etchpractice.controller.modal import Modal, Stored, Triple
from etchpractice.controller.report_fields import FieldsDue
from etchpractice.controller.states import Alarm, RestartPhase, State
from etchpractice.firmware.firmware import Firmware
from etchpractice.firmware.settings import Settings
from etchpractice.motion.planner import AXES, Beam, Order, Planner
from etchpractice.motion.stepper import Stepper, Track
from etchpractice.wire import NEVER_S, ReceiveRing, SendRing
from etchwire.controller.profile import LineCosts

Task = Generator[float, None, None]

_SOFT_LIMIT_SLACK_MM: Final = 1e-6
_LEAVES_LINES: Final = (State.HOLD, State.DOOR, State.SLEEP)  # a name for them takes time to find
_NOT_RESTARTING: Final = RestartPhase.NONE
_NEEDS_NO_RESET: Final = frozenset((Alarm.PROBE_STATE, Alarm.NO_CONTACT))


class Engine:
    """The controller's hardware and memory, and the time its main loop is busy until."""

    def __init__(
        self,
        firmware: Firmware,
        *,
        track: Track,
        settings: Mapping[int, float] | None = None,
        baud: int = 115200,
        costs: LineCosts | None = None,
    ) -> None:
        self.firmware = firmware
        self.costs = costs or firmware.costs
        self.track = track
        self.settings = Settings(firmware, settings or {})
        self.stored = Stored()
        self.modal = Modal()
        self.now_s = 0.0
        self.state = State.IDLE
        self.restart_phase = RestartPhase.NONE
        self.alarm = 0  # what the restart is for, if not for the host
        self.power_percent = 100
        self.is_going = False
        self.is_cancelling_jog = False
        self.is_homed = False
        self.coolant_on = ""
        self.is_door_open = False
        self.limits = Limits([self.settings[130 + axis] for axis in AXES])
        self._closed_limits: frozenset[int] = frozenset()  # as they were seen last
        self.faults = Faults()
        self.receive = ReceiveRing(
            baud=baud,
            ring_bytes=firmware.receive_bytes,
            has_more_real_time=firmware.has_more_real_time,
        )
        self.lines = LineInput(self.receive, pairs_line_ends=firmware.pairs_line_ends)
        self.send = SendRing(baud=baud, ring_bytes=firmware.send_bytes)
        self.planner = Planner(self.settings, firmware.planner_blocks)
        self.stepper = Stepper(
            self.planner, segments=firmware.segments, level_of=self.level_of, track=track
        )
        self.fields_due = FieldsDue(shows_overrides_first=firmware.shows_overrides_first)
        self.busy_until_s = 0.0
        self.rest_s = NEVER_S  # when the motors have settled after the last segment

    # What settings and states mean

    @property
    def is_laser(self) -> bool:
        """Whether the laser mode is set: the beam follows the motion."""
        return self.settings[32] == 1

    @property
    def has_plain_moves(self) -> bool:
        """Whether a move needs nothing but room in the planner."""
        return self.is_laser and not self.settings[20]

    @property
    def is_suspended(self) -> bool:
        """Whether lines are left in the ring: a hold, a door, sleep, or a jog that brakes."""
        return self.is_cancelling_jog or self.state in _LEAVES_LINES

    @property
    def is_restarting(self) -> bool:
        """Whether the main loop has to do with nothing else."""
        return self.restart_phase is not _NOT_RESTARTING

    def level_of(self, s: float) -> tuple[int, float]:
        """Return the output level for an S word, and S as reports show it."""
        least, most = self.settings[31], self.settings[30]
        s *= self.power_percent / 100
        if s <= 0:
            return 0, 0.0
        if s >= most or least >= most:
            return self.firmware.power_levels, most
        if s <= least:
            return 1, least
        return 1 + int((s - least) * (self.firmware.power_levels - 1) / (most - least)), s

    def may_reach(self, place: Triple) -> bool:
        """Whether the soft limits, if any, allow `place`: from 0 down to minus the travel."""
        if not self.settings[20] or (self.firmware.limits_homed_axes_only and not self.is_homed):
            return True
        return all(
            -self.settings[130 + axis] - _SOFT_LIMIT_SLACK_MM <= place[axis] <= _SOFT_LIMIT_SLACK_MM
            for axis in AXES
        )

    def open_pins(self) -> str:
        """Return the letters of the inputs that are active."""
        closed = self.limits.closed(self.stepper.place_at(self.now_s))
        letters = "".join(AXIS_LETTERS[axis] for axis in sorted(closed))
        return letters + ("D" if self.is_door_open else "")

    # Talking

    def say(self, text: str) -> None:
        """Send a line when the work in hand is done; without room for it the main loop waits."""
        at_s = max(self.now_s, self.busy_until_s)
        self.send.send(f"{text}\r\n".encode("ascii", "replace"), at_s)
        self.be_busy_until(self.send.room_s)

    def reply(self, error: int) -> None:
        """Answer a line."""
        text = self.faults.reply(f"error:{error}" if error else "ok")
        if text is not None:
            self.say(text)

    # Waiting

    def work(self, seconds: float) -> None:
        """Keep the main loop busy with `seconds` of work, which stepping draws out."""
        share = self.costs.interrupt_share(self.stepper.steps_per_s)
        self.be_busy_until(max(self.busy_until_s, self.now_s) + seconds / (1 - share))

    def be_busy_until(self, until_s: float) -> None:
        """Let the main loop do nothing before `until_s`."""
        self.busy_until_s = max(self.busy_until_s, until_s)

    def stop_being_busy(self) -> None:
        """Let the main loop go on now."""
        self.busy_until_s = self.now_s

    def be_deaf_until(self, until_s: float) -> None:
        """Lose what arrives before `until_s` as well."""
        self.be_busy_until(until_s)
        self.receive.deaf_until_s = max(self.receive.deaf_until_s, until_s)

    def wait_for_room(self) -> Task:
        """Wait until all that was said has found room to be sent."""
        while self.busy_until_s > self.now_s:
            yield self.busy_until_s

    @property
    def host_is_due_s(self) -> float:
        """When the host can read something; never, while anything of its own is still worked on."""
        return self.send.next_arrival_s if self.receive.is_quiet else NEVER_S

    def drain(self) -> Task:
        """Wait until every queued move is done and the head stands."""
        while self.state is not State.CHECK and (self.is_going or self.planner.blocks):
            self.start()
            yield NEVER_S

    def write_memory(self, seconds: float) -> Task:
        """Wait for rest, then for a write to the permanent memory."""
        yield from self.drain()
        until_s = self.now_s + seconds
        if self.firmware.is_deaf_while_writing:
            self.be_deaf_until(until_s)
        self.be_busy_until(until_s)
        yield until_s

    # Moving

    def start(self) -> bool:
        """Set the motors going when there is something to run; return whether that was so."""
        if self.state is not State.IDLE or not self.planner.blocks or self.is_suspended:
            return False
        self.state = State.JOG if self.planner.blocks[0].is_jog else State.RUN
        self.is_going = True
        return True

    def plan(self, target: Triple, order: Order) -> bool:
        """Put a move into the planner, or return False as it is shorter than half a step."""
        if not self.planner.add(target, order):
            return False
        self.work(self.planner.unsettled * self.costs.replan_s)
        return True

    def take_position(self) -> None:
        """Let the parser go on from where the head really is."""
        self.modal.position = self.planner.place_at(self.planner.steps)

    def put(self, axis: int, *, place_mm: float, bed_mm: float) -> None:
        """Say where the head is on one axis: by the controller's count, and on the bed."""
        limits = self.limits
        limits.put(axis, place_mm=place_mm, bed_mm=bed_mm)
        x, y, z = (place_mm if at == axis else mm for at, mm in enumerate(self.stepper.place))
        self.stepper.place = (x, y, z)
        self.stepper.flush()
        self.take_position()
        bed = (limits.bed_mm(0, x), limits.bed_mm(1, y), limits.bed_mm(2, z))
        self.track.put(self.now_s, (x, y, z), bed)

    def forget_place(self) -> None:
        """Count the place the head has from zero, as after a power cut."""
        self.is_homed = False
        self.track.count_from_zero(self.stepper.place)
        for axis, place_mm in enumerate(self.stepper.place):
            bed_mm = self.limits.bed_mm(axis, place_mm)
            self.limits.put(axis, place_mm=0.0, bed_mm=bed_mm)
        self.stepper.place = (0.0, 0.0, 0.0)
        self.stepper.flush()

    def note_limits(self) -> None:
        """Take the limit switches as they are: what changes from here on is what counts."""
        self._closed_limits = self.limits.closed(self.stepper.place)

    def look_at_limits(self) -> None:
        """Raise the alarm of a limit switch that has closed, or opened; `$21` turns that on."""
        closed = self.limits.closed(self.stepper.place)
        has_changed, self._closed_limits = closed != self._closed_limits, closed
        if has_changed and self.state not in (State.ALARM, State.HOME):
            self.raise_alarm(Alarm.HARD_LIMIT)

    def stop_dead(self) -> None:
        """Stop in mid-step and put every output off."""
        if self.stepper.segments:
            self.track.slip(self.stepper.velocity())
        self.stepper.stop_dead(self.now_s)
        self.stepper.set_level(self.now_s, 0, 0.0)
        self.coolant_on = ""
        self.is_going = False
        self.rest_s = NEVER_S

    # Burning and blowing

    def set_beam(self, s: float) -> None:
        """Set the output as it is at rest: dynamic power is off there."""
        beam = self.modal.beam
        if self.state is State.CHECK:
            return
        level, shown_s = 0, 0.0
        if beam is Beam.CONSTANT or (beam is Beam.DYNAMIC and not self.is_laser):
            level, shown_s = self.level_of(s)
        self.stepper.set_level(self.now_s, level, shown_s)
        self.fields_due.note_overrides()

    def set_coolant(self, letters: str) -> None:
        """Switch the coolant outputs, and remember that they were meant so."""
        if self.state is State.CHECK:
            return
        self.modal.coolant = letters
        self.show_coolant(letters)

    def show_coolant(self, letters: str) -> None:
        """Switch the coolant outputs for the time of a door stop."""
        self.coolant_on = letters
        self.fields_due.note_overrides()

    # Stopping

    def raise_alarm(self, number: int) -> None:
        """Lock with an alarm; a probe's alarms need no reset, all others stop dead and restart."""
        if number in _NEEDS_NO_RESET:
            self.state = State.ALARM
            self.say(f"ALARM:{number}")
            self.be_busy_until(self.now_s + self.firmware.alarm_wait_s)
        else:
            self.stop_dead()
            self.alarm = number
            self.restart_phase = RestartPhase.ALARM

    def interrupt(self) -> None:
        """Take the reset byte: outputs off within the interrupt; in motion the place is lost."""
        if self.restart_phase is RestartPhase.DEAD:
            self.restart_phase = RestartPhase.GREETING
        if self.is_restarting:
            return
        was_homing = self.state is State.HOME
        if was_homing:
            self.stop_being_busy()
        is_forgiven = self.firmware.forgives_reset_in_hold and self.state is State.HOLD
        is_place_lost = (self.is_going or was_homing) and not is_forgiven
        self.stop_dead()
        if is_place_lost:
            self.alarm = Alarm.HOMING_RESET if was_homing else Alarm.RESET_IN_MOTION
            self.restart_phase = RestartPhase.ALARM
        else:
            self.restart_phase = RestartPhase.GREETING

    def sleep(self) -> None:
        """Go to sleep: only a reset wakes the controller."""
        self.state = State.SLEEP
        self.say("[MSG:Sleeping]")
        self.stepper.set_level(self.now_s, 0, 0.0)
        self.show_coolant("")

    def restore(self, *, settings: bool, stored: bool) -> None:
        """Bring back factory values."""
        if settings:
            self.settings.update(self.firmware.settings)
            self.planner.take_settings()
        if stored:
            self.stored = Stored()
