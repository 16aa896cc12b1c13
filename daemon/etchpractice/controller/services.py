"""What the controller's parts may ask of it: wait for rest, move, burn, stop."""

from collections.abc import Generator
from typing import Final

from etchpractice.controller.language import Line
from etchpractice.controller.modal import Modal, Stored, Triple
from etchpractice.controller.parts import Parts, Task
from etchpractice.controller.states import Alarm, State
from etchpractice.motion.planner import Beam, Order
from etchpractice.wire import NEVER_S

_NEEDS_NO_RESET: Final = frozenset((Alarm.PROBE_STATE, Alarm.NO_CONTACT))


class Services(Parts):
    """Services between the parts; the main loop is built on them in `controller`."""

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
        if self.state is not State.IDLE or not self.planner.blocks or self.suspension.is_on:
            return False
        self.state = State.JOG if self.planner.blocks[0].is_jog else State.RUN
        self.is_going = True
        return True

    def queue_move(self, target: Triple, order: Order) -> Task:
        """Wait for room and queue a move; in check mode only remember where it would lead."""
        if not self.may_reach(target):
            yield from self._break_soft_limit()
            return
        self.modal.position = target
        if self.state is State.CHECK:
            return
        while len(self.planner.blocks) >= self.planner.capacity:
            self.start()
            yield NEVER_S
        if not self.plan(target, order) and order.beam is Beam.CONSTANT:
            yield from self.drain()
            self.set_beam(order.s)

    def plan(self, target: Triple, order: Order) -> bool:
        """Put a move into the planner, or return False as it is shorter than half a step."""
        if not self.planner.add(target, order):
            return False
        self.work(self.planner.unsettled * self.costs.replan_s)
        return True

    def _break_soft_limit(self) -> Task:
        if self.is_going:
            self.suspension.alarm_at_rest = Alarm.SOFT_LIMIT
            self.suspension.hold()
        else:
            self.restart.raise_alarm(Alarm.SOFT_LIMIT)
        yield NEVER_S  # the line is never done

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
            self.restart.raise_alarm(Alarm.HARD_LIMIT)

    def stop_dead(self) -> None:
        """Stop in mid-step and put every output off."""
        if self.stepper.segments:
            self.track.slip(self.stepper.velocity())
        self.stepper.stop_dead(self.now_s)
        self.stepper.set_level(self.now_s, 0, 0.0)
        self.coolant_on = ""
        self.is_going = False
        self._rest_s = NEVER_S

    @property
    def has_line_in_work(self) -> bool:
        """Whether a line was read and is not answered yet."""
        return self._waiting is not None or self._task is not None

    def forget_lines(self) -> None:
        """Throw away what was received and not run, and the line in work."""
        self.receive.clear()
        self._partial.clear()
        self._waiting = self._task = None
        self._wake_s = NEVER_S
        self._sticky_error = 0

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
        self.status.note_overrides()

    def set_coolant(self, letters: str) -> None:
        """Switch the coolant outputs, and remember that they were meant so."""
        if self.state is State.CHECK:
            return
        self.modal.coolant = letters
        self.show_coolant(letters)

    def show_coolant(self, letters: str) -> None:
        """Switch the coolant outputs for the time of a door stop."""
        self.coolant_on = letters
        self.status.note_overrides()

    # Stopping

    def hold(self) -> None:
        """Pause, as M0 does."""
        self.suspension.hold()

    def raise_alarm(self, number: int) -> None:
        """Lock with an alarm; a probe's alarms need no reset, all others stop dead and restart."""
        if number in _NEEDS_NO_RESET:
            self.state = State.ALARM
            self.say(f"ALARM:{number}")
            self.be_busy_until(self.now_s + self.firmware.alarm_wait_s)
        else:
            self.restart.raise_alarm(number)

    def stop_and_flush(self) -> None:
        """Brake, forget all that waits and be idle: the 32-bit firmware's stop byte."""
        if self.state in (State.RUN, State.HOLD, State.IDLE, State.JOG):
            self.forget_lines()
            self.say("[MSG:Stop]")
            self.modal = Modal(position=self.modal.position, shift=self.modal.shift)
            self.suspension.flush_after_braking()

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

    def run_start_up_lines(self, lines: list[Line]) -> None:
        """Run the stored lines before any other."""
        if lines:
            self._task = self._run_stored(lines)

    def _run_stored(self, lines: list[Line]) -> Task:
        for line in lines:
            error = yield from self.outcome(line)
            self.say(f">{line.text}:{f'error:{error}' if error else 'ok'}")
            yield from self.wait_for_room()

    def outcome(self, line: Line) -> Generator[float, None, int]:
        """Run a line whatever it is and return its error number."""
        raise NotImplementedError
