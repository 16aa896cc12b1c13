"""What a line is carried out with: the engine, and the parts that stand on it."""

from collections.abc import Callable, Generator
from dataclasses import dataclass

from etchpractice.controller.engine import Engine, Task
from etchpractice.controller.interpreter import Interpreter
from etchpractice.controller.language import Line
from etchpractice.controller.modal import Triple
from etchpractice.controller.realtime import RealTime
from etchpractice.controller.states import State
from etchpractice.controller.suspension import Suspension
from etchpractice.motion.planner import Beam, Order
from etchpractice.wire import NEVER_S


@dataclass(frozen=True, slots=True)
class Parts:
    """The engine, its parts, and `outcome`, which runs a whole line and returns its error number.

    A line may store another one, which is run first.
    """

    engine: Engine
    suspension: Suspension
    real_time: RealTime
    interpreter: Interpreter
    outcome: Callable[[Line], Generator[float, None, int]]

    def queue_move(self, target: Triple, order: Order) -> Task:
        """Wait for room and queue a move; in check mode only remember where it would lead."""
        engine = self.engine
        if not engine.may_reach(target):
            self.suspension.break_soft_limit()
            yield NEVER_S  # the line is never done
            return
        engine.modal.position = target
        if engine.state is State.CHECK:
            return
        while len(engine.planner.blocks) >= engine.planner.capacity:
            engine.start()
            yield NEVER_S
        if not engine.plan(target, order) and order.beam is Beam.CONSTANT:
            yield from engine.drain()
            engine.set_beam(order.s)
