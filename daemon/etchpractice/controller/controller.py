"""The motion controller: its main loop, in simulated time.

Nothing here waits. `advance_to` goes from event to event (a byte arrives, a segment ends, a
delay is over) and lets the main loop do at each what it can.
"""

from collections.abc import Generator, Mapping
from typing import Final

from etchpractice.controller.block_executor import perform
from etchpractice.controller.interpreter import Refused
from etchpractice.controller.language import Line, read_line
from etchpractice.controller.modal import Triple
from etchpractice.controller.parts import Task
from etchpractice.controller.services import Services
from etchpractice.controller.states import State
from etchpractice.controller.system import answer
from etchpractice.firmware import firmware as protocol
from etchpractice.firmware.firmware import Firmware
from etchpractice.motion.planner import Beam, Order
from etchpractice.motion.stepper import Track
from etchpractice.wire import NEVER_S
from etchwire.controller_profile import LineCosts

_HOLDS_MOTORS: Final = 255  # $1: the motors are held at rest, and rest is at once
_LOCKED: Final = 9
_LONGEST_PARTIAL_BYTES: Final = 4096
_LINE_FEED: Final = 0x0A
_RETURN: Final = 0x0D


class Controller(Services):
    """Takes bytes and time; moves, burns and answers as the firmware it plays."""

    def __init__(
        self,
        firmware: Firmware,
        *,
        track: Track,
        settings: Mapping[int, float] | None = None,
        baud: int = 115200,
        costs: LineCosts | None = None,
    ) -> None:
        super().__init__(firmware, track=track, settings=settings, baud=baud, costs=costs)
        self.restart.power_on()

    def write(self, data: bytes) -> None:
        """Let `data` leave the host now."""
        self._step()
        self.receive.write(data, self.now_s)

    def advance_to(self, end_s: float) -> None:
        """Let time pass until `end_s`."""
        while True:
            self._step()
            next_s = self._next_event_s()
            if next_s > end_s:
                break
            self.now_s = max(self.now_s, next_s)
        self.now_s = max(end_s, self.now_s)

    def _next_event_s(self) -> float:
        receive, now_s = self.receive, self.now_s
        next_s = receive.next_real_time_s
        if self._busy_until_s > now_s:
            return min(next_s, self._busy_until_s)
        next_s = min(next_s, self.stepper.next_end_s)
        if self._is_reading:
            return min(next_s, receive.next_line_end_s)
        next_s = min(next_s, self.suspension.restored_s, self._rest_s)
        return next_s if self.suspension.is_on else min(next_s, self._wake_s)

    @property
    def _is_reading(self) -> bool:
        return (
            self._waiting is None
            and self._task is None
            and self._busy_until_s <= self.now_s
            and not self.suspension.is_on
            and not self.restart.is_pending
        )

    def _step(self) -> None:
        """Do at this moment what can be done."""
        now_s = self.now_s
        self.stepper.run(now_s)
        if self.settings[21] and not self.restart.is_pending:
            self.look_at_limits()
        is_reading = self._is_reading
        commands = self.receive.receive(now_s, is_read=is_reading)
        if commands and is_reading:
            self._take_partial()
        for byte in commands:
            if self.firmware.aliases.get(byte, byte) == protocol.RESET:
                self.restart.interrupt()
            else:
                self.real_time.raise_flag(byte)
        while self._busy_until_s <= self.now_s and self._serve():
            pass

    def _serve(self) -> bool:
        """Go once round the main loop; False when there is nothing more to do now."""
        if self.restart.is_pending:
            return self.restart.go_on()
        if self.state is not State.HOME:
            self.real_time.obey()
        if self.is_going:
            self._run_motors()
        if self.suspension.is_on:
            self.suspension.look_at_clock()
            return not self.suspension.is_on
        if self._waiting is not None:
            return self._queue_waiting(self._waiting)
        if self._task is not None:
            return self._go_on_with_task(self._task)
        return self._read_line()

    def _run_motors(self) -> None:
        stepper = self.stepper
        prepared = stepper.prepare(self.now_s)
        if any(prepared):
            costs = self.costs
            self.work(
                prepared.level * costs.level_segment_s + prepared.ramps * costs.ramp_segment_s
            )
        if stepper.segments or (self.planner.blocks and not stepper.has_braked):
            return
        if self._rest_s == NEVER_S:
            settle_ms = self.settings[1]
            self._rest_s = self.now_s + (0 if settle_ms == _HOLDS_MOTORS else settle_ms / 1000)
            self.be_busy_until(self._rest_s)
        if self.now_s >= self._rest_s:
            self._rest_s = NEVER_S
            self._come_to_rest()

    def _come_to_rest(self) -> None:
        self.is_going = False
        if self.modal.beam is Beam.DYNAMIC:
            self.stepper.set_level(self.now_s, 0, 0.0)
        if self.suspension.is_on:
            self.suspension.come_to_rest()
        else:
            self.state = State.IDLE

    # The main loop's lines

    def _read_line(self) -> bool:
        ring = self.receive.ring
        if self._pair and ring:
            if ring[0] == self._pair:
                del ring[0]
            self._pair = 0
        if not ring:
            return self.start()
        at = ring.find(b"\n")
        if b"\r" in ring:
            at = min(at, ring.find(b"\r")) if at >= 0 else ring.find(b"\r")
        if at < 0:
            self._take_partial()
            return self.start()
        if self.firmware.pairs_line_ends:
            self._pair = _LINE_FEED + _RETURN - ring[at]
        raw = bytes(ring[:at])
        del ring[: at + 1]
        if self._partial:
            raw = bytes(self._partial) + raw
            self._partial.clear()
        self._begin(self.faults.line(raw))
        return True

    def _take_partial(self) -> None:
        """Read what has come of a line, if that is all there is."""
        ring = self.receive.ring
        if b"\n" not in ring and b"\r" not in ring:
            self._partial += ring
            ring.clear()
            del self._partial[_LONGEST_PARTIAL_BYTES:]

    def _begin(self, raw: bytes) -> None:
        line = read_line(raw, self.firmware)
        is_move = line.has_axis and self.state is not State.CHECK
        if line.text:
            costs = self.costs
            self.work(costs.move_read_s(line.word_count) if is_move else costs.plain_s)
        refusal = self.faults.refusal()
        if refusal is not None:
            self.reply(refusal)
        elif line.simple and not self._sticky_error and self.state in (State.RUN, State.IDLE):
            move = self.interpreter.simple_move(line.simple)
            if move is None:
                self._task = self._carry_out(line)
            else:
                self._waiting = move
        else:
            self._task = self._carry_out(line)

    def _queue_waiting(self, waiting: tuple[Triple, Order]) -> bool:
        planner = self.planner
        if len(planner.blocks) >= planner.capacity:
            return self.start()
        self._waiting = None
        target, order = waiting
        if not self.plan(target, order) and order.beam is Beam.CONSTANT:
            self._task = self._set_standing(order)
        else:
            self.reply(0)
            self.work(self.costs.answer_s)
        return True

    def _set_standing(self, order: Order) -> Task:
        """Set S at rest for a move too short for a step, as constant power does."""
        yield from self.drain()
        self.set_beam(order.s)
        self.reply(0)

    def _go_on_with_task(self, task: Task) -> bool:
        try:
            self._wake_s = next(task)
        except StopIteration:
            self._task, self._wake_s = None, NEVER_S
            return True
        # What it waits for may be a motion that it has just started: the motors come next.
        return self.is_going and not self.stepper.segments and self._rest_s == NEVER_S

    def _carry_out(self, line: Line) -> Task:
        self.reply((yield from self.outcome(line)))
        if line.has_axis:
            self.work(self.costs.answer_s)

    def outcome(self, line: Line) -> Generator[float, None, int]:
        """Run a line whatever it is and return its error number."""
        if line.text[:1] == "$" and not line.error:
            error = yield from answer(self, line)
            self._sticky_error = error if self.firmware.has_sticky_errors else 0
            return error
        if (not line.text and not line.error) or self._is_program_mark(line):
            self._sticky_error = 0
            return 0
        if self._sticky_error:
            return self._sticky_error
        error = line.error
        if not error and self.state in (State.ALARM, State.JOG):
            error = _LOCKED
        if not error:
            try:
                meaning = self.interpreter.understand(line)
            except Refused as refused:
                error = refused.code
            else:
                yield from perform(self, meaning)
        self._sticky_error = error if self.firmware.has_sticky_errors else 0
        return error

    def _is_program_mark(self, line: Line) -> bool:
        return line.text == "%" and self.firmware.knows_percent
