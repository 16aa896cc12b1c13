"""Resets and alarms: what stops at once, and what the main loop then says and forgets."""

from enum import Enum, auto
from typing import TYPE_CHECKING

from etchpractice.controller.language import read_line
from etchpractice.controller.modal import Modal
from etchpractice.controller.states import (
    ONLY_RESET_HELPS,
    ONLY_RESET_HELPS_32_BIT,
    Alarm,
    DoorStep,
    State,
)
from etchpractice.motion.planner import Beam

if TYPE_CHECKING:
    from etchpractice.controller.services import Services


class _Phase(Enum):
    NONE = auto()
    ALARM = auto()  # an alarm is to be told
    LOCKED = auto()  # nothing but a reset helps, which is to be told
    DEAD = auto()  # it has been told
    GREETING = auto()


class Restart:
    """Takes the controller from a reset byte, a reset button or an alarm to its greeting."""

    def __init__(self, controller: "Services") -> None:
        self._controller = controller
        self._phase = _Phase.NONE
        self._alarm = 0

    @property
    def is_pending(self) -> bool:
        """Whether the main loop has to do with nothing else."""
        return self._phase is not _Phase.NONE

    def interrupt(self) -> None:
        """Take the reset byte: outputs off within the interrupt; in motion the place is lost."""
        if self._phase is _Phase.DEAD:
            self._phase = _Phase.GREETING
        if self.is_pending:
            return
        was_homing = self._controller.state is State.HOME
        if was_homing:
            self._controller.stop_being_busy()
        if self._kill():
            self._alarm = Alarm.HOMING_RESET if was_homing else Alarm.RESET_IN_MOTION
            self._phase = _Phase.ALARM
        else:
            self._phase = _Phase.GREETING

    def raise_alarm(self, number: int) -> None:
        """Stop dead and lock, as a limit switch or a failed cycle does."""
        self._kill()
        self._alarm = number
        self._phase = _Phase.ALARM

    def _kill(self) -> bool:
        """Put everything out and return whether the place is held to be lost by that."""
        controller = self._controller
        is_lost = controller.is_going or controller.state is State.HOME
        if controller.firmware.forgives_reset_in_hold and controller.state is State.HOLD:
            is_lost = False
        controller.stop_dead()
        return is_lost

    def go_on(self) -> bool:
        """Take the next step of the restart; False when only a reset byte helps."""
        controller = self._controller
        if self._phase is _Phase.ALARM:
            controller.state = State.ALARM
            controller.say(f"ALARM:{self._alarm}")
            controller.be_busy_until(controller.now_s + controller.firmware.alarm_wait_s)
            locks = (
                ONLY_RESET_HELPS_32_BIT
                if controller.firmware.has_sticky_errors
                else ONLY_RESET_HELPS
            )
            self._phase = _Phase.LOCKED if self._alarm in locks else _Phase.GREETING
            return True
        if self._phase is _Phase.LOCKED:
            controller.say("[MSG:Reset to continue]")
            self._phase = _Phase.DEAD
            return False
        if self._phase is _Phase.DEAD:
            return False
        if controller.has_line_in_work and controller.firmware.answers_line_cut_off:
            controller.reply(0)
        self._phase = _Phase.NONE
        self._start_up()
        return True

    def power_on(self, boot_s: float = 0.0) -> None:
        """Begin as after a power cut or the reset button: the place counts from zero."""
        controller = self._controller
        controller.stop_dead()
        controller.forget_place()
        controller.state = State.ALARM if controller.settings[22] else State.IDLE
        controller.be_deaf_until(controller.now_s + boot_s)
        self._phase = _Phase.GREETING

    def _start_up(self) -> None:
        controller = self._controller
        controller.forget_lines()
        controller.real_time.clear()
        controller.planner.override(feed_percent=100, rapid_percent=100)
        controller.power_percent = 100
        shift = controller.modal.shift if controller.firmware.keeps_shift else (0.0, 0.0, 0.0)
        controller.modal = Modal(position=controller.stepper.place, shift=shift)
        controller.status.start_again()
        controller.suspension.clear()
        controller.say(f"\r\n{controller.firmware.greeting}")
        if controller.settings[21] and controller.limits.closed(controller.stepper.place):
            controller.say("[MSG:Check Limits]")
            controller.state = State.ALARM
        if controller.state in (State.ALARM, State.SLEEP):
            controller.state = State.ALARM
            controller.say("[MSG:'$H'|'$X' to unlock]")
            return
        controller.state = State.IDLE
        if controller.is_door_open:
            controller.suspension.open_door()
            controller.suspension.door_step = DoorStep.OPEN
        else:
            controller.run_start_up_lines(
                [
                    read_line(text.encode(), controller.firmware)
                    for text in controller.stored.start_up
                    if text
                ]
            )

    def end_program(self) -> None:
        """Do what M2 and M30 do: the modes as at the start, but G1, and all overrides off."""
        controller = self._controller
        modal = controller.modal
        modal.motion, modal.plane, modal.system = 10, 170, "G54"
        modal.is_incremental = modal.is_inverse_time = False
        modal.beam = Beam.OFF
        controller.status.note_offset()
        if controller.state is not State.CHECK:
            if controller.firmware.resets_overrides_at_end:
                controller.planner.override(feed_percent=100, rapid_percent=100)
                controller.power_percent = 100
            controller.set_beam(0.0)
            controller.set_coolant("")
        controller.say("[MSG:Pgm End]")
