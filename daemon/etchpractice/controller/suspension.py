"""Hold, door, jog cancel and the way back from them."""

from typing import Final

from etchpractice.controller.engine import Engine
from etchpractice.controller.states import Alarm, DoorStep, State
from etchpractice.motion.planner import Beam
from etchpractice.wire import NEVER_S

_COOLANT_RETURNS_S: Final = 1.0
_DEAF: Final = frozenset((State.ALARM, State.CHECK, State.SLEEP))


class Suspension:
    """Whether and why the main loop reads no lines."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self.is_at_hold = False
        self.is_dropping_jog = False  # a jog that the door has stopped does not go on
        self.is_beam_held = False
        self._alarm_at_rest: int = 0  # what the hold was for, if not for the host
        self.feed_before_hold = 0.0
        self.door_step = DoorStep.READY
        self.restored_s = NEVER_S

    def clear(self) -> None:
        """Forget any suspension: the controller was reset."""
        self.is_at_hold = self._engine.is_cancelling_jog = self.is_beam_held = False
        self._alarm_at_rest = 0
        self.restored_s = NEVER_S

    def flush_after_braking(self) -> None:
        """Brake and forget what waits, then be idle."""
        engine = self._engine
        self.is_at_hold = self.is_beam_held = False
        engine.is_cancelling_jog = True
        if engine.is_going:
            engine.state = State.RUN
            engine.stepper.brake()
        else:
            self.come_to_rest()

    def hold(self) -> None:
        """Brake to rest, or just wait when at rest."""
        engine = self._engine
        state = engine.state
        if state in _DEAF or state in (State.HOLD, State.DOOR, State.HOME):
            return
        if state is State.JOG:
            if engine.firmware.holds_jogs:
                self.cancel_jog()
            return
        self.feed_before_hold = engine.stepper.speed * 60
        engine.state = State.HOLD
        self._stop(engine)

    def break_soft_limit(self) -> None:
        """Brake, and raise the alarm of a soft limit once at rest."""
        if self._engine.is_going:
            self._alarm_at_rest = Alarm.SOFT_LIMIT
            self.hold()
        else:
            self._engine.raise_alarm(Alarm.SOFT_LIMIT)

    def _stop(self, engine: Engine) -> None:
        if engine.is_going:
            engine.stepper.brake()
        else:
            self.come_to_rest()

    def cancel_jog(self) -> None:
        """Brake, and forget the jogs that wait."""
        engine = self._engine
        if engine.state is State.JOG and not engine.is_cancelling_jog:
            engine.is_cancelling_jog = True
            engine.stepper.brake()

    def open_door(self) -> None:
        """Do as for a hold, then put beam and coolant out."""
        engine = self._engine
        if engine.state in _DEAF or engine.state is State.HOME:
            return
        engine.say("[MSG:Check Door]")
        was = engine.state
        self.restored_s = NEVER_S
        engine.state = State.DOOR
        if was in (State.HOLD, State.DOOR) and not engine.is_going:
            self.come_to_rest()
            return
        self.door_step = DoorStep.BRAKING
        self.is_dropping_jog = was is State.JOG
        self.feed_before_hold = engine.stepper.speed * 60
        if was is not State.DOOR:
            self._stop(engine)

    def look_at_door(self) -> None:
        """Follow the door's contact while the door is what holds us."""
        engine = self._engine
        if engine.state is State.DOOR and self.door_step in (DoorStep.READY, DoorStep.OPEN):
            self.door_step = DoorStep.OPEN if engine.is_door_open else DoorStep.READY

    def come_to_rest(self) -> None:
        """Finish what the hold, door or jog cancel wanted: the head stands."""
        engine = self._engine
        if engine.is_cancelling_jog:
            engine.is_cancelling_jog = False
            engine.stepper.flush()
            engine.take_position()
            engine.state = State.IDLE
            return  # an order to move comes from a new line
        engine.stepper.go_on()
        if self.is_dropping_jog:
            self.is_dropping_jog = False
            engine.stepper.flush()
            engine.take_position()
        if engine.modal.beam is not Beam.OFF:
            engine.stepper.set_level(engine.now_s, 0, 0.0)
            self.is_beam_held = True
            engine.fields_due.note_overrides()
        if engine.state is State.HOLD:
            self.is_at_hold = True
            if self._alarm_at_rest:
                engine.raise_alarm(self._alarm_at_rest)
        elif engine.state is State.DOOR:
            if engine.coolant_on:
                engine.show_coolant("")
            self.door_step = DoorStep.READY
            self.look_at_door()

    def resume(self) -> None:
        """Go on, where that is possible at present."""
        engine = self._engine
        if engine.state is State.HOLD and self.is_at_hold:
            if self.is_beam_held and engine.modal.beam is not Beam.OFF:
                engine.say("[MSG:Restoring spindle]")
            if engine.firmware.ends_hold_with_message:
                engine.say("[MSG:]")
            self._go_on()
        elif engine.state is State.DOOR and self.door_step is DoorStep.READY:
            self.door_step = DoorStep.RESTORING
            self.is_beam_held = False
            wait_s = 0.0
            if engine.modal.coolant:
                engine.show_coolant(engine.modal.coolant)
                wait_s = _COOLANT_RETURNS_S
            self.restored_s = engine.now_s + wait_s
            self.look_at_clock()
        elif engine.state is State.IDLE:
            engine.start()

    def look_at_clock(self) -> None:
        """End the door's restoring when its time has come."""
        engine = self._engine
        if engine.state is State.DOOR and engine.now_s >= self.restored_s:
            self.restored_s = NEVER_S
            self._go_on()

    def _go_on(self) -> None:
        engine = self._engine
        self.is_at_hold = self.is_beam_held = False
        engine.state = State.IDLE
        if not engine.is_laser:
            engine.set_beam(engine.modal.s)
        engine.start()

    def toggle_beam(self) -> None:
        """In a hold, let the beam output be enabled again, or not."""
        engine = self._engine
        if self.is_at_hold and engine.modal.beam is not Beam.OFF:
            if self.is_beam_held:
                engine.say("[MSG:Restoring spindle]")
            self.is_beam_held = not self.is_beam_held
            engine.set_beam(0.0 if self.is_beam_held else engine.modal.s)
            if engine.firmware.has_stale_hold_feed:
                engine.stepper.shown_s = 0.0
