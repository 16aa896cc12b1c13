"""The status report, and which of its fields are due."""

from typing import Final

from etchpractice.controller.engine import Engine
from etchpractice.controller.modal import triple
from etchpractice.controller.states import MOVING, DoorStep, State
from etchpractice.controller.suspension import Suspension
from etchpractice.motion.planner import AXES, Beam

_INCH_MM: Final = 25.4
_MACHINE_PLACE, _BUFFER, _SPEEDS, _OFFSET, _OVERRIDES = 1, 2, 8, 32, 64  # bits of $10


class Status:
    """Writes reports of what the controller does."""

    def __init__(self, engine: Engine, suspension: Suspension) -> None:
        self._engine, self._suspension = engine, suspension

    @property
    def _is_at_hold(self) -> bool:
        return self._engine.state is State.HOLD and self._suspension.is_at_hold

    def _always(self) -> tuple[list[str], tuple[float, ...]]:
        engine = self._engine
        mask = self._mask()
        place = engine.planner.place_at(
            engine.planner.steps_at(engine.stepper.place_at(engine.now_s))
        )
        offset = engine.modal.offset(engine.stored)
        name = "MPos"
        if not mask & _MACHINE_PLACE:
            name, place = "WPos", tuple(place[axis] - offset[axis] for axis in AXES)  # type: ignore[assignment]
        fields = [self._state(), f"{name}:{self._triple(place)}"]
        if mask & _BUFFER:
            blocks = engine.planner.capacity - len(engine.planner.blocks)
            fields.append(f"Bf:{max(blocks, 0)},{engine.receive.free_bytes}")
        if mask & _SPEEDS:
            fields.append(self._speeds())
        if pins := engine.open_pins():
            fields.append(f"Pn:{pins}")
        return fields, offset

    def report(self) -> str:
        """Return the report of this moment."""
        fields, offset = self._always()
        return f"<{'|'.join((*fields, *self._periodic(offset)))}>"

    def full_report(self) -> str:
        """Return a report with every field there is, as the 32-bit firmware's own byte asks."""
        engine = self._engine
        fields, offset = self._always()
        more = (
            f"WCO:{self._triple(offset)}|WCS:{engine.modal.system}|Ov:{self._percents()}",
            f"A:{self._accessories()}|Sc:|MPG:0|{self._homed()}|T:0|P:0|TLR:0|FW:grblHAL",
        )
        return f"<{'|'.join((*fields, *more))}>"

    def _mask(self) -> int:
        engine = self._engine
        return int(engine.settings[10]) | engine.firmware.always_reported

    def _state(self) -> str:
        engine = self._engine
        state = engine.state
        if state is State.HOLD:
            return f"Hold:{0 if self._is_at_hold else 1}"
        if state is State.DOOR:
            step = self._suspension.door_step
            is_restoring = step is DoorStep.RESTORING
            return f"Door:{engine.firmware.restoring_step if is_restoring else int(step)}"
        return str(state.value)

    def _triple(self, place: tuple[float, ...]) -> str:
        if self._engine.settings[13]:
            return ",".join(f"{part / _INCH_MM:.4f}" for part in place)
        return triple(place)

    def _speeds(self) -> str:
        engine = self._engine
        stepper = engine.stepper
        feed = stepper.speed * 60 if engine.state in MOVING else 0.0
        is_stopped = self._is_at_hold or (engine.state is State.DOOR and not engine.is_going)
        if is_stopped and engine.firmware.has_stale_hold_feed:
            feed = self._suspension.feed_before_hold
        if engine.settings[13]:
            feed /= _INCH_MM
        return f"FS:{feed:.0f},{stepper.shown_s:.0f}"

    def _periodic(self, offset: tuple[float, ...]) -> list[str]:
        engine, firmware, due = self._engine, self._engine.firmware, self._engine.fields_due
        mask, is_busy = self._mask(), engine.state in MOVING
        fields = []
        if due.take_offset(is_busy=is_busy, is_wanted=bool(mask & _OFFSET)):
            fields.append(f"WCO:{self._triple(offset)}")
            if due.take_system() and firmware.tells_all_modes:
                fields.append(f"WCS:{engine.modal.system}")
        has_overrides = due.take_overrides(is_busy=is_busy)
        if has_overrides and mask & _OVERRIDES:
            fields.append(f"Ov:{self._percents()}")
        letters = self._accessories()
        # With the overrides; of the 32-bit firmware as soon as it changed as well.
        is_early = due.take_accessories(letters) and firmware.reports_beam_at_rest
        if is_early or (has_overrides and letters):
            fields.append(f"A:{letters}")
        if due.take_first() and firmware.tells_all_modes:
            fields += [self._homed(), "TLR:0"]
        return fields

    def _percents(self) -> str:
        engine, planner = self._engine, self._engine.planner
        return f"{planner.feed_percent},{planner.rapid_percent},{engine.power_percent}"

    def _homed(self) -> str:
        return f"H:{int(self._engine.is_homed)}"

    def _accessories(self) -> str:
        engine = self._engine
        beam = engine.modal.beam
        letters = ""
        at_rest_too = engine.firmware.reports_beam_at_rest and not self._suspension.is_beam_held
        is_tested = engine.state is State.CHECK
        if beam is not Beam.OFF and not is_tested and (engine.stepper.level or at_rest_too):
            letters = "S" if beam is Beam.CONSTANT else "C"
        return letters + engine.coolant_on
