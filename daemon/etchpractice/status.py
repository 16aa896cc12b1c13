"""The status report, and which of its fields are due."""

from typing import TYPE_CHECKING, Final

from etchpractice.modal import triple
from etchpractice.planner import AXES, Beam
from etchpractice.states import MOVING, State

if TYPE_CHECKING:
    from etchpractice.services import Services

_INCH_MM: Final = 25.4
# Reports between two shows of a field, by whether the controller is busy.
_OFFSET_PERIOD: Final = {True: 30, False: 10}
_OVERRIDE_PERIOD: Final = {True: 20, False: 10}


class Status:
    """Writes reports; counts them, as some fields come only every so many."""

    def __init__(self, controller: "Services") -> None:
        self._controller = controller
        self._until_offset = 0
        self._until_overrides = 0
        self._was_on = False

    def start_again(self) -> None:
        """Show everything once more, as after a reset."""
        self._until_offset = self._until_overrides = 0
        self._was_on = False

    def note_offset(self) -> None:
        """Show the work offset in the next report: it changed."""
        self._until_offset = 0

    def note_overrides(self) -> None:
        """Show overrides and accessories as soon as may be: one of them changed."""
        self._until_overrides = 0

    def report(self) -> str:
        """Return the report of this moment."""
        controller = self._controller
        mask = int(controller.settings[10])
        place = controller.planner.place_at(
            controller.planner.steps_at(controller.stepper.place_at(controller.now_s))
        )
        offset = controller.modal.offset(controller.stored)
        name = "MPos"
        if not mask & 1:
            name, place = "WPos", tuple(place[axis] - offset[axis] for axis in AXES)  # type: ignore[assignment]
        fields = [self._state(), f"{name}:{self._triple(place)}"]
        if mask & 2:
            blocks = controller.planner.capacity - len(controller.planner.blocks)
            fields.append(f"Bf:{max(blocks, 0)},{controller.receive.free_bytes}")
        fields.append(self._speeds())
        if pins := controller.open_pins():
            fields.append(f"Pn:{pins}")
        fields += self._periodic(offset)
        return f"<{'|'.join(fields)}>"

    def _state(self) -> str:
        controller = self._controller
        state = controller.state
        if state is State.HOLD:
            return f"Hold:{0 if controller.is_at_hold else 1}"
        if state is State.DOOR:
            return f"Door:{int(controller.suspension.door_step)}"
        return str(state.value)

    def _triple(self, place: tuple[float, ...]) -> str:
        if self._controller.settings[13]:
            return ",".join(f"{part / _INCH_MM:.4f}" for part in place)
        return triple(place)

    def _speeds(self) -> str:
        controller = self._controller
        stepper = controller.stepper
        feed = stepper.speed * 60 if controller.state in MOVING else 0.0
        if controller.is_at_hold and controller.firmware.has_stale_hold_feed:
            feed = controller.suspension.feed_before_hold
        if controller.settings[13]:
            feed /= _INCH_MM
        return f"FS:{feed:.0f},{stepper.shown_s:.0f}"

    def _periodic(self, offset: tuple[float, ...]) -> list[str]:
        controller = self._controller
        is_busy = controller.state in MOVING
        fields = []
        if self._until_offset > 0:
            self._until_offset -= 1
        else:
            self._until_offset = _OFFSET_PERIOD[is_busy] - 1
            self._until_overrides = max(self._until_overrides, 1)
            fields.append(f"WCO:{self._triple(offset)}")
        if self._until_overrides > 0:
            self._until_overrides -= 1
            return fields
        self._until_overrides = _OVERRIDE_PERIOD[is_busy] - 1
        planner = controller.planner
        percents = (planner.feed_percent, planner.rapid_percent, controller.power_percent)
        fields.append(f"Ov:{','.join(map(str, percents))}")
        letters = self._accessories()
        is_told_off = controller.firmware.reports_beam_at_rest and self._was_on and not letters
        if letters or is_told_off:
            fields.append(f"A:{letters}")
        self._was_on = bool(letters)
        return fields

    def _accessories(self) -> str:
        controller = self._controller
        beam = controller.modal.beam
        letters = ""
        at_rest_too = (
            controller.firmware.reports_beam_at_rest and not controller.suspension.is_beam_held
        )
        if beam is not Beam.OFF and (controller.stepper.level or at_rest_too):
            letters = "S" if beam is Beam.CONSTANT else "C"
        return letters + ("F" if controller.is_flood_on else "")
