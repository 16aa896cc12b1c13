"""The motion controller: its main loop, in simulated time.

Nothing here waits. `advance_to` goes from event to event (a byte arrives, a segment ends, a
delay is over) and lets the main loop do at each what it can.
"""

from collections.abc import Generator
from typing import Final

from etchpractice.controller.block_executor import perform
from etchpractice.controller.engine import Engine, Task
from etchpractice.controller.interpreter import Interpreter, Refused
from etchpractice.controller.language import Line, read_line
from etchpractice.controller.modal import Triple
from etchpractice.controller.parts import Parts
from etchpractice.controller.realtime import RealTime
from etchpractice.controller.restart import Restart
from etchpractice.controller.states import State
from etchpractice.controller.status import Status
from etchpractice.controller.suspension import Suspension
from etchpractice.controller.system import answer
from etchpractice.firmware import firmware as protocol
from etchpractice.motion.planner import Beam, Order
from etchpractice.wire import NEVER_S

_HOLDS_MOTORS: Final = 255  # $1: the motors are held at rest, and rest is at once
_LOCKED: Final = 9
_HOMING: Final = State.HOME


class Controller:
    """Takes bytes and time; moves, burns and answers as the firmware it plays."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._lines = engine.lines
        self.suspension = Suspension(engine)
        status = Status(engine, self.suspension)
        self.real_time = RealTime(engine, self.suspension, status)
        self.restart = Restart(engine, self.suspension, self.real_time, run_stored=self._run_stored)
        self._interpreter = Interpreter(engine)
        self._parts = Parts(
            engine, self.suspension, self.real_time, self._interpreter, self._outcome
        )
        self.restart.power_on()

    def write(self, data: bytes) -> None:
        """Let `data` leave the host now."""
        self._step()
        self.engine.receive.write(data, self.engine.now_s)

    def advance_to(self, end_s: float, *, stops_for_host: bool = False) -> None:
        """Let time pass until `end_s`, or until the host can read and nothing is left to do."""
        engine = self.engine
        while True:
            self._step()
            if stops_for_host:
                end_s = min(end_s, max(engine.host_is_due_s, engine.now_s))
            next_s = self._next_event_s()
            if next_s > end_s:
                break
            engine.now_s = max(engine.now_s, next_s)
        engine.now_s = max(end_s, engine.now_s)

    def _next_event_s(self) -> float:
        engine, receive, now_s = self.engine, self.engine.receive, self.engine.now_s
        next_s = receive.next_real_time_s
        if engine.busy_until_s > now_s:
            return min(next_s, engine.busy_until_s)
        next_s = min(next_s, engine.stepper.next_end_s)
        if self._is_reading:
            return min(next_s, receive.next_line_end_s)
        next_s = min(next_s, self.suspension.restored_s, engine.rest_s)
        return next_s if engine.is_suspended else min(next_s, self._lines.wake_s)

    @property
    def _is_reading(self) -> bool:
        engine = self.engine
        return (
            self._lines.waiting is None
            and self._lines.task is None
            and engine.busy_until_s <= engine.now_s
            and not engine.is_suspended
            and not engine.is_restarting
        )

    def _step(self) -> None:
        """Do at this moment what can be done."""
        engine = self.engine
        now_s = engine.now_s
        engine.stepper.run(now_s)
        if engine.settings[21] and not engine.is_restarting:
            engine.look_at_limits()
        is_reading = self._is_reading
        commands = engine.receive.receive(now_s, is_read=is_reading)
        if commands and is_reading:
            self._lines.take_partial()
        for byte in commands:
            if engine.firmware.aliases.get(byte, byte) == protocol.RESET:
                engine.interrupt()
            else:
                self.real_time.raise_flag(byte)
        while engine.busy_until_s <= engine.now_s and self._serve():
            pass

    def _serve(self) -> bool:
        """Go once round the main loop; False when there is nothing more to do now."""
        engine = self.engine
        if engine.is_restarting:
            return self.restart.go_on()
        if engine.state is not _HOMING:
            self.real_time.obey()
        if engine.is_going:
            self._run_motors()
        if engine.is_suspended:
            self.suspension.look_at_clock()
            return not engine.is_suspended
        if self._lines.waiting is not None:
            return self._queue_waiting(self._lines.waiting)
        if self._lines.task is not None:
            return self._go_on_with_task(self._lines.task)
        return self._read_line()

    def _run_motors(self) -> None:
        engine = self.engine
        stepper = engine.stepper
        prepared = stepper.prepare(engine.now_s) if stepper.may_prepare else None
        if prepared is not None and any(prepared):
            costs = engine.costs
            engine.work(
                prepared.level * costs.level_segment_s + prepared.ramps * costs.ramp_segment_s
            )
        if stepper.segments or (engine.planner.blocks and not stepper.has_braked):
            return
        if engine.rest_s == NEVER_S:
            settle_ms = engine.settings[1]
            engine.rest_s = engine.now_s + (0 if settle_ms == _HOLDS_MOTORS else settle_ms / 1000)
            engine.be_busy_until(engine.rest_s)
        if engine.now_s >= engine.rest_s:
            engine.rest_s = NEVER_S
            self._come_to_rest()

    def _come_to_rest(self) -> None:
        engine = self.engine
        engine.is_going = False
        if engine.modal.beam is Beam.DYNAMIC:
            engine.stepper.set_level(engine.now_s, 0, 0.0)
        if engine.is_suspended:
            self.suspension.come_to_rest()
        else:
            engine.state = State.IDLE

    # The main loop's lines

    def _read_line(self) -> bool:
        raw = self._lines.take()
        if raw is None:
            return self.engine.start()
        self._begin(self.engine.faults.line(raw))
        return True

    def _run_stored(self, lines: list[Line]) -> Task:
        for line in lines:
            error = yield from self._outcome(line)
            self.engine.say(f">{line.text}:{f'error:{error}' if error else 'ok'}")
            yield from self.engine.wait_for_room()

    def _begin(self, raw: bytes) -> None:
        engine = self.engine
        line = read_line(raw, engine.firmware)
        is_move = line.has_axis and engine.state is not State.CHECK
        if line.text:
            costs = engine.costs
            engine.work(costs.move_read_s(line.word_count) if is_move else costs.plain_s)
        refusal = engine.faults.refusal()
        if refusal is not None:
            engine.reply(refusal)
        elif (
            line.simple and not self._lines.sticky_error and engine.state in (State.RUN, State.IDLE)
        ):
            move = self._interpreter.simple_move(line.simple)
            if move is None:
                self._lines.task = self._carry_out(line)
            else:
                self._lines.waiting = move
        else:
            self._lines.task = self._carry_out(line)

    def _queue_waiting(self, waiting: tuple[Triple, Order]) -> bool:
        engine = self.engine
        planner = engine.planner
        if len(planner.blocks) >= planner.capacity:
            return engine.start()
        self._lines.waiting = None
        target, order = waiting
        if not engine.plan(target, order) and order.beam is Beam.CONSTANT:
            self._lines.task = self._set_standing(order)
        else:
            engine.reply(0)
            engine.work(engine.costs.answer_s)
        return True

    def _set_standing(self, order: Order) -> Task:
        """Set S at rest for a move too short for a step, as constant power does."""
        engine = self.engine
        yield from engine.drain()
        engine.set_beam(order.s)
        engine.reply(0)

    def _go_on_with_task(self, task: Task) -> bool:
        engine = self.engine
        try:
            self._lines.wake_s = next(task)
        except StopIteration:
            self._lines.task, self._lines.wake_s = None, NEVER_S
            return True
        # What it waits for may be a motion that it has just started: the motors come next.
        return engine.is_going and not engine.stepper.segments and engine.rest_s == NEVER_S

    def _carry_out(self, line: Line) -> Task:
        engine = self.engine
        engine.reply((yield from self._outcome(line)))
        if line.has_axis:
            engine.work(engine.costs.answer_s)

    def _outcome(self, line: Line) -> Generator[float, None, int]:
        """Run a line whatever it is and return its error number."""
        engine = self.engine
        if line.text[:1] == "$" and not line.error:
            error = yield from answer(self._parts, line)
            self._lines.sticky_error = error if engine.firmware.has_sticky_errors else 0
            return error
        if (not line.text and not line.error) or self._is_program_mark(line):
            self._lines.sticky_error = 0
            return 0
        if self._lines.sticky_error:
            return self._lines.sticky_error
        error = line.error
        if not error and engine.state in (State.ALARM, State.JOG):
            error = _LOCKED
        if not error:
            try:
                meaning = self._interpreter.understand(line)
            except Refused as refused:
                error = refused.code
            else:
                yield from perform(self._parts, meaning)
        self._lines.sticky_error = error if engine.firmware.has_sticky_errors else 0
        return error

    def _is_program_mark(self, line: Line) -> bool:
        return line.text == "%" and self.engine.firmware.knows_percent
