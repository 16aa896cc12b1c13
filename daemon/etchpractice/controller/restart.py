"""Resets and alarms: what stops at once, and what the main loop then says and forgets."""

from collections.abc import Callable

from etchpractice.controller.engine import Engine, Task
from etchpractice.controller.language import Line, read_line
from etchpractice.controller.modal import Modal
from etchpractice.controller.realtime import RealTime
from etchpractice.controller.states import (
    ONLY_RESET_HELPS,
    ONLY_RESET_HELPS_32_BIT,
    DoorStep,
    RestartPhase,
    State,
)
from etchpractice.controller.suspension import Suspension


class Restart:
    """Takes the controller from a reset byte, a reset button or an alarm to its greeting."""

    def __init__(
        self,
        engine: Engine,
        suspension: Suspension,
        real_time: RealTime,
        *,
        run_stored: Callable[[list[Line]], Task],
    ) -> None:
        self._engine, self._suspension, self._real_time = engine, suspension, real_time
        self._run_stored = run_stored

    def go_on(self) -> bool:
        """Take the next step of the restart; False when only a reset byte helps."""
        engine = self._engine
        if engine.restart_phase is RestartPhase.ALARM:
            engine.state = State.ALARM
            engine.say(f"ALARM:{engine.alarm}")
            engine.be_busy_until(engine.now_s + engine.firmware.alarm_wait_s)
            locks = (
                ONLY_RESET_HELPS_32_BIT if engine.firmware.has_sticky_errors else ONLY_RESET_HELPS
            )
            engine.restart_phase = (
                RestartPhase.LOCKED if engine.alarm in locks else RestartPhase.GREETING
            )
            return True
        if engine.restart_phase is RestartPhase.LOCKED:
            engine.say("[MSG:Reset to continue]")
            engine.restart_phase = RestartPhase.DEAD
            return False
        if engine.restart_phase is RestartPhase.DEAD:
            return False
        if engine.lines.is_in_work and engine.firmware.answers_line_cut_off:
            engine.reply(0)
        engine.restart_phase = RestartPhase.NONE
        self._start_up()
        return True

    def power_on(self, boot_s: float = 0.0) -> None:
        """Begin as after a power cut or the reset button: the place counts from zero."""
        engine = self._engine
        engine.stop_dead()
        engine.forget_place()
        engine.state = State.ALARM if engine.settings[22] else State.IDLE
        engine.be_deaf_until(engine.now_s + boot_s)
        engine.restart_phase = RestartPhase.GREETING

    def _start_up(self) -> None:
        engine = self._engine
        engine.lines.clear()
        self._real_time.clear()
        engine.planner.override(feed_percent=100, rapid_percent=100)
        engine.power_percent = 100
        shift = engine.modal.shift if engine.firmware.keeps_shift else (0.0, 0.0, 0.0)
        engine.modal = Modal(position=engine.stepper.place, shift=shift)
        engine.fields_due.start_again()
        self._suspension.clear()
        engine.say(f"\r\n{engine.firmware.greeting}")
        if engine.settings[21] and engine.limits.closed(engine.stepper.place):
            engine.say("[MSG:Check Limits]")
            engine.state = State.ALARM
        if engine.state in (State.ALARM, State.SLEEP):
            engine.state = State.ALARM
            engine.say("[MSG:'$H'|'$X' to unlock]")
            return
        engine.state = State.IDLE
        if engine.is_door_open:
            self._suspension.open_door()
            self._suspension.door_step = DoorStep.OPEN
        else:
            stored = [text.encode() for text in engine.stored.start_up if text]
            if stored:  # they come before any other line
                lines = [read_line(text, engine.firmware) for text in stored]
                engine.lines.task = self._run_stored(lines)
