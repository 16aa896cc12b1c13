"""Hold, door, jog cancel and the way back from them."""

from typing import TYPE_CHECKING, Final

from etchpractice.controller.states import DoorStep, State
from etchpractice.motion.planner import Beam
from etchpractice.wire import NEVER_S

if TYPE_CHECKING:
    from etchpractice.controller.services import Services

_COOLANT_RETURNS_S: Final = 1.0
_DEAF: Final = frozenset((State.ALARM, State.CHECK, State.SLEEP))


class Suspension:
    """Whether and why the main loop reads no lines."""

    def __init__(self, controller: "Services") -> None:
        self._controller = controller
        self.is_at_hold = False
        self.is_cancelling_jog = False
        self.is_dropping_jog = False  # a jog that the door has stopped does not go on
        self.is_beam_held = False
        self.alarm_at_rest = 0  # what the hold was for, if not for the host
        self.feed_before_hold = 0.0
        self.door_step = DoorStep.READY
        self.restored_s = NEVER_S

    @property
    def is_on(self) -> bool:
        """Whether lines are left in the ring."""
        state = self._controller.state
        return self.is_cancelling_jog or state in (State.HOLD, State.DOOR, State.SLEEP)

    def clear(self) -> None:
        """Forget any suspension: the controller was reset."""
        self.is_at_hold = self.is_cancelling_jog = self.is_beam_held = False
        self.alarm_at_rest = 0
        self.restored_s = NEVER_S

    def flush_after_braking(self) -> None:
        """Brake and forget what waits, then be idle."""
        controller = self._controller
        self.is_at_hold = self.is_beam_held = False
        self.is_cancelling_jog = True
        if controller.is_going:
            controller.state = State.RUN
            controller.stepper.brake()
        else:
            self.come_to_rest()

    def hold(self) -> None:
        """Brake to rest, or just wait when at rest."""
        controller = self._controller
        state = controller.state
        if state in _DEAF or state in (State.HOLD, State.DOOR, State.HOME):
            return
        if state is State.JOG:
            if controller.firmware.holds_jogs:
                self.cancel_jog()
            return
        self.feed_before_hold = controller.stepper.speed * 60
        controller.state = State.HOLD
        self._stop(controller)

    def _stop(self, controller: "Services") -> None:
        if controller.is_going:
            controller.stepper.brake()
        else:
            self.come_to_rest()

    def cancel_jog(self) -> None:
        """Brake, and forget the jogs that wait."""
        controller = self._controller
        if controller.state is State.JOG and not self.is_cancelling_jog:
            self.is_cancelling_jog = True
            controller.stepper.brake()

    def open_door(self) -> None:
        """Do as for a hold, then put beam and coolant out."""
        controller = self._controller
        if controller.state in _DEAF or controller.state is State.HOME:
            return
        controller.say("[MSG:Check Door]")
        was = controller.state
        self.restored_s = NEVER_S
        controller.state = State.DOOR
        if was in (State.HOLD, State.DOOR) and not controller.is_going:
            self.come_to_rest()
            return
        self.door_step = DoorStep.BRAKING
        self.is_dropping_jog = was is State.JOG
        self.feed_before_hold = controller.stepper.speed * 60
        if was is not State.DOOR:
            self._stop(controller)

    def look_at_door(self) -> None:
        """Follow the door's contact while the door is what holds us."""
        controller = self._controller
        if controller.state is State.DOOR and self.door_step in (DoorStep.READY, DoorStep.OPEN):
            self.door_step = DoorStep.OPEN if controller.is_door_open else DoorStep.READY

    def come_to_rest(self) -> None:
        """Finish what the hold, door or jog cancel wanted: the head stands."""
        controller = self._controller
        if self.is_cancelling_jog:
            self.is_cancelling_jog = False
            controller.stepper.flush()
            controller.take_position()
            controller.state = State.IDLE
            return  # an order to move comes from a new line
        controller.stepper.go_on()
        if self.is_dropping_jog:
            self.is_dropping_jog = False
            controller.stepper.flush()
            controller.take_position()
        if controller.modal.beam is not Beam.OFF:
            controller.stepper.set_level(controller.now_s, 0, 0.0)
            self.is_beam_held = True
            controller.status.note_overrides()
        if controller.state is State.HOLD:
            self.is_at_hold = True
            if self.alarm_at_rest:
                controller.raise_alarm(self.alarm_at_rest)
        elif controller.state is State.DOOR:
            if controller.coolant_on:
                controller.show_coolant("")
            self.door_step = DoorStep.READY
            self.look_at_door()

    def resume(self) -> None:
        """Go on, where that is possible at present."""
        controller = self._controller
        if controller.state is State.HOLD and self.is_at_hold:
            if self.is_beam_held and controller.modal.beam is not Beam.OFF:
                controller.say("[MSG:Restoring spindle]")
            if controller.firmware.ends_hold_with_message:
                controller.say("[MSG:]")
            self._go_on()
        elif controller.state is State.DOOR and self.door_step is DoorStep.READY:
            self.door_step = DoorStep.RESTORING
            self.is_beam_held = False
            wait_s = 0.0
            if controller.modal.coolant:
                controller.show_coolant(controller.modal.coolant)
                wait_s = _COOLANT_RETURNS_S
            self.restored_s = controller.now_s + wait_s
            self.look_at_clock()
        elif controller.state is State.IDLE:
            controller.start()

    def look_at_clock(self) -> None:
        """End the door's restoring when its time has come."""
        controller = self._controller
        if controller.state is State.DOOR and controller.now_s >= self.restored_s:
            self.restored_s = NEVER_S
            self._go_on()

    def _go_on(self) -> None:
        controller = self._controller
        self.is_at_hold = self.is_beam_held = False
        controller.state = State.IDLE
        if not controller.is_laser:
            controller.set_beam(controller.modal.s)
        controller.start()

    def toggle_beam(self) -> None:
        """In a hold, let the beam output be enabled again, or not."""
        controller = self._controller
        if self.is_at_hold and controller.modal.beam is not Beam.OFF:
            if self.is_beam_held:
                controller.say("[MSG:Restoring spindle]")
            self.is_beam_held = not self.is_beam_held
            controller.set_beam(0.0 if self.is_beam_held else controller.modal.s)
            if controller.firmware.has_stale_hold_feed:
                controller.stepper.shown_s = 0.0
