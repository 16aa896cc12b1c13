"""What an onlooker sees of the practice machine; it crosses its control socket as `state`."""

from collections.abc import Mapping
from dataclasses import dataclass

from etchpractice.controller.states import MOVING, State
from etchpractice.machine import PracticeMachine


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineState:
    """The practice machine at one instant, in its own seconds.

    `controller_state` is the controller's own word; `position_mm` is what it counts, `head_mm`
    where on the bed the head is (x, y). `inputs` and `outputs` are the board's, by name.
    """

    now_s: float
    speedup: float
    is_plugged: bool
    controller_state: str
    position_mm: tuple[float, float, float]
    head_mm: tuple[float, float]
    is_burning: bool
    is_beam_enabled: bool
    is_safety_relay_set: bool
    lost_bytes: int
    inputs: Mapping[str, bool]
    outputs: Mapping[str, bool]

    @classmethod
    def of(cls, machine: PracticeMachine, *, speedup: float = 1.0) -> "MachineState":
        """Return what is seen of `machine` now."""
        engine, board = machine.controller.engine, machine.board
        return cls(
            now_s=machine.now_s,
            speedup=speedup,
            is_plugged=machine.is_plugged,
            controller_state=engine.state.value,
            position_mm=engine.stepper.place_at(machine.now_s),
            head_mm=machine.head_mm,
            is_burning=machine.is_burning,
            is_beam_enabled=board.is_beam_enabled,
            is_safety_relay_set=board.is_safety_relay_set,
            lost_bytes=engine.receive.lost_bytes,
            inputs=board.inputs(),
            outputs=dict(board.outputs),
        )

    @property
    def has_beam(self) -> bool:
        """Whether light falls on the tile, or could."""
        return self.is_burning or self.is_beam_enabled

    @property
    def is_moving(self) -> bool:
        """Whether the machine is not at rest."""
        return State(self.controller_state) in MOVING
