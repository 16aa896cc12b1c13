"""Real-time bytes: what each does when the main loop gets to it."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from etchpractice.controller.states import State
from etchpractice.firmware import firmware

if TYPE_CHECKING:
    from etchpractice.controller.services import Services

_LEAST_PERCENT, _MOST_PERCENT = 10, 200


def _report(controller: "Services") -> None:
    controller.say(controller.status.report())
    controller.work(controller.costs.report_s)


def _full_report(controller: "Services") -> None:
    if controller.firmware.has_more_real_time:
        controller.say(controller.status.full_report())


def _cancel_jog(controller: "Services") -> None:
    if controller.firmware.jog_cancel_empties_ring:
        controller.forget_lines()
    controller.suspension.cancel_jog()


def _toggle_flood(controller: "Services") -> None:
    _toggle_coolant(controller, "F")


def _toggle_mist(controller: "Services") -> None:
    if "M" in controller.firmware.coolants:
        _toggle_coolant(controller, "M")


def _toggle_coolant(controller: "Services", letter: str) -> None:
    if controller.state in (State.IDLE, State.RUN, State.HOLD, State.JOG):
        on = set(controller.modal.coolant) ^ {letter}
        controller.set_coolant("".join(sorted(on)))


def _stop(controller: "Services") -> None:
    if controller.firmware.has_stop_byte:
        controller.stop_and_flush()


# In the order in which the main loop looks at them.
_ACTIONS: Final[dict[int, Callable[["Services"], None]]] = {
    firmware.REPORT: _report,
    firmware.FULL_REPORT: _full_report,
    firmware.HOLD: lambda controller: controller.suspension.hold(),
    firmware.DOOR: lambda controller: controller.suspension.open_door(),
    firmware.JOG_CANCEL: _cancel_jog,
    firmware.STOP: _stop,
    firmware.START: lambda controller: controller.suspension.resume(),
    firmware.SPINDLE_STOP: lambda controller: controller.suspension.toggle_beam(),
    firmware.SLEEP: lambda controller: controller.sleep(),
    firmware.FLOOD: _toggle_flood,
    firmware.MIST: _toggle_mist,
}


class RealTime:
    """The flags that real-time bytes set; each kind is one flag, so repeats merge."""

    def __init__(self, controller: "Services") -> None:
        self._controller = controller
        self._flags: dict[int, None] = {}

    def raise_flag(self, byte: int) -> None:
        """Note a byte for when the main loop looks; unknown ones vanish."""
        self._flags[self._controller.firmware.aliases.get(byte, byte)] = None

    def clear(self) -> None:
        """Forget what was noted."""
        self._flags.clear()

    def obey(self) -> None:
        """Do what was asked since the last look."""
        if not self._flags:
            return
        flags, self._flags = self._flags, {}
        for byte, act in _ACTIONS.items():
            if byte in flags:
                act(self._controller)
        for byte in flags:
            self._override(byte)

    def _override(self, byte: int) -> None:
        controller, planner = self._controller, self._controller.planner
        feed = _stepped(planner.feed_percent, byte, firmware.FEED_STEPS_PERCENT)
        rapid = firmware.RAPIDS_PERCENT.get(byte, planner.rapid_percent)
        if (feed, rapid) != (planner.feed_percent, planner.rapid_percent):
            planner.override(feed_percent=feed, rapid_percent=rapid)
            controller.status.note_overrides()
        power = _stepped(controller.power_percent, byte, firmware.POWER_STEPS_PERCENT)
        if power != controller.power_percent:
            controller.power_percent = power
            controller.status.note_overrides()


def _stepped(percent: int, byte: int, steps: dict[int, int | None]) -> int:
    if byte not in steps:
        return percent
    step = steps[byte]
    return 100 if step is None else min(max(percent + step, _LEAST_PERCENT), _MOST_PERCENT)
