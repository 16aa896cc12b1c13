"""The status report, and which of its fields are due."""

from typing import TYPE_CHECKING, Final

from etchpractice.controller.modal import triple
from etchpractice.controller.states import MOVING, DoorStep, State
from etchpractice.motion.planner import AXES, Beam

if TYPE_CHECKING:
    from etchpractice.controller.services import Services

_INCH_MM: Final = 25.4
_MACHINE_PLACE, _BUFFER, _SPEEDS, _OFFSET, _OVERRIDES = 1, 2, 8, 32, 64  # bits of $10
# Reports between two shows of a field, by whether the controller is busy.
_OFFSET_PERIOD: Final = {True: 30, False: 10}
_OVERRIDE_PERIOD: Final = {True: 20, False: 10}


class Status:
    """Writes reports; counts them, as some fields come only every so many."""

    def __init__(self, controller: "Services") -> None:
        self._controller = controller
        self.start_again()

    def start_again(self) -> None:
        """Show everything once more, as after a reset."""
        is_offset_later = self._controller.firmware.shows_overrides_first
        self._until_offset = int(is_offset_later)
        self._until_overrides = 0
        self._is_first = True
        self._has_new_system = False
        self._shown_accessories: str | None = None

    def note_system(self) -> None:
        """Show the work coordinate system and its offset in the next report: it changed."""
        self._has_new_system = True
        self.note_offset()

    def note_offset(self) -> None:
        """Show the work offset in the next report: it changed."""
        self._until_offset = 0

    def note_overrides(self) -> None:
        """Show overrides and accessories as soon as may be: one of them changed."""
        self._until_overrides = 0

    def _always(self) -> tuple[list[str], tuple[float, ...]]:
        controller = self._controller
        mask = self._mask()
        place = controller.planner.place_at(
            controller.planner.steps_at(controller.stepper.place_at(controller.now_s))
        )
        offset = controller.modal.offset(controller.stored)
        name = "MPos"
        if not mask & _MACHINE_PLACE:
            name, place = "WPos", tuple(place[axis] - offset[axis] for axis in AXES)  # type: ignore[assignment]
        fields = [self._state(), f"{name}:{self._triple(place)}"]
        if mask & _BUFFER:
            blocks = controller.planner.capacity - len(controller.planner.blocks)
            fields.append(f"Bf:{max(blocks, 0)},{controller.receive.free_bytes}")
        if mask & _SPEEDS:
            fields.append(self._speeds())
        if pins := controller.open_pins():
            fields.append(f"Pn:{pins}")
        return fields, offset

    def report(self) -> str:
        """Return the report of this moment."""
        fields, offset = self._always()
        return f"<{'|'.join((*fields, *self._periodic(offset)))}>"

    def full_report(self) -> str:
        """Return a report with every field there is, as the 32-bit firmware's own byte asks."""
        controller = self._controller
        fields, offset = self._always()
        more = (
            f"WCO:{self._triple(offset)}|WCS:{controller.modal.system}|Ov:{self._percents()}",
            f"A:{self._accessories()}|Sc:|MPG:0|{self._homed()}|T:0|P:0|TLR:0|FW:grblHAL",
        )
        return f"<{'|'.join((*fields, *more))}>"

    def _mask(self) -> int:
        controller = self._controller
        return int(controller.settings[10]) | controller.firmware.always_reported

    def _state(self) -> str:
        controller = self._controller
        state = controller.state
        if state is State.HOLD:
            return f"Hold:{0 if controller.is_at_hold else 1}"
        if state is State.DOOR:
            step = controller.suspension.door_step
            is_restoring = step is DoorStep.RESTORING
            return f"Door:{controller.firmware.restoring_step if is_restoring else int(step)}"
        return str(state.value)

    def _triple(self, place: tuple[float, ...]) -> str:
        if self._controller.settings[13]:
            return ",".join(f"{part / _INCH_MM:.4f}" for part in place)
        return triple(place)

    def _speeds(self) -> str:
        controller = self._controller
        stepper = controller.stepper
        feed = stepper.speed * 60 if controller.state in MOVING else 0.0
        is_stopped = controller.is_at_hold or (
            controller.state is State.DOOR and not controller.is_going
        )
        if is_stopped and controller.firmware.has_stale_hold_feed:
            feed = controller.suspension.feed_before_hold
        if controller.settings[13]:
            feed /= _INCH_MM
        return f"FS:{feed:.0f},{stepper.shown_s:.0f}"

    def _periodic(self, offset: tuple[float, ...]) -> list[str]:
        controller, firmware = self._controller, self._controller.firmware
        mask, is_busy = self._mask(), controller.state in MOVING
        fields = []
        if self._until_offset > 0:
            self._until_offset -= 1
        elif mask & _OFFSET:
            self._until_offset = _OFFSET_PERIOD[is_busy] - 1
            if not firmware.shows_overrides_first:
                self._until_overrides = max(self._until_overrides, 1)
            fields.append(f"WCO:{self._triple(offset)}")
            if self._has_new_system and firmware.tells_all_modes:
                fields.append(f"WCS:{controller.modal.system}")
            self._has_new_system = False
        has_overrides = self._until_overrides <= 0
        if not has_overrides:
            self._until_overrides -= 1
        else:
            self._until_overrides = _OVERRIDE_PERIOD[is_busy] - 1
            if mask & _OVERRIDES:
                fields.append(f"Ov:{self._percents()}")
        fields += self._accessory_field(has_overrides=has_overrides)
        if self._is_first and firmware.tells_all_modes:
            fields += [self._homed(), "TLR:0"]
        self._is_first = False
        return fields

    def _accessory_field(self, *, has_overrides: bool) -> list[str]:
        """With the overrides; of the 32-bit firmware as soon as it changed as well."""
        letters = self._accessories()
        is_early = self._controller.firmware.reports_beam_at_rest
        has_changed, self._shown_accessories = letters != self._shown_accessories, letters
        is_shown = (is_early and has_changed) or (has_overrides and letters)
        return [f"A:{letters}"] if is_shown else []

    def _percents(self) -> str:
        controller, planner = self._controller, self._controller.planner
        return f"{planner.feed_percent},{planner.rapid_percent},{controller.power_percent}"

    def _homed(self) -> str:
        return f"H:{int(self._controller.is_homed)}"

    def _accessories(self) -> str:
        controller = self._controller
        beam = controller.modal.beam
        letters = ""
        at_rest_too = (
            controller.firmware.reports_beam_at_rest and not controller.suspension.is_beam_held
        )
        is_tested = controller.state is State.CHECK
        if beam is not Beam.OFF and not is_tested and (controller.stepper.level or at_rest_too):
            letters = "S" if beam is Beam.CONSTANT else "C"
        return letters + controller.coolant_on
