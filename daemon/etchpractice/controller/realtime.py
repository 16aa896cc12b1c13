"""Real-time bytes: what each does when the main loop gets to it."""

from collections.abc import Callable

from etchpractice.controller.engine import Engine
from etchpractice.controller.modal import Modal
from etchpractice.controller.states import State
from etchpractice.controller.status import Status
from etchpractice.controller.suspension import Suspension
from etchpractice.firmware import firmware

_LEAST_PERCENT, _MOST_PERCENT = 10, 200


class RealTime:
    """The flags that real-time bytes set; each kind is one flag, so repeats merge."""

    def __init__(self, engine: Engine, suspension: Suspension, status: Status) -> None:
        self._engine, self._suspension, self._status = engine, suspension, status
        self._flags: dict[int, None] = {}
        # In the order in which the main loop looks at them.
        self._actions: dict[int, Callable[[], None]] = {
            firmware.REPORT: self._report,
            firmware.FULL_REPORT: self._full_report,
            firmware.HOLD: suspension.hold,
            firmware.DOOR: suspension.open_door,
            firmware.JOG_CANCEL: self._cancel_jog,
            firmware.STOP: self._stop,
            firmware.START: suspension.resume,
            firmware.SPINDLE_STOP: suspension.toggle_beam,
            firmware.SLEEP: engine.sleep,
            firmware.FLOOD: lambda: self._toggle_coolant("F"),
            firmware.MIST: self._toggle_mist,
        }

    def raise_flag(self, byte: int) -> None:
        """Note a byte for when the main loop looks; unknown ones vanish."""
        self._flags[self._engine.firmware.aliases.get(byte, byte)] = None

    def clear(self) -> None:
        """Forget what was noted."""
        self._flags.clear()

    def obey(self) -> None:
        """Do what was asked since the last look."""
        if not self._flags:
            return
        flags, self._flags = self._flags, {}
        for byte, act in self._actions.items():
            if byte in flags:
                act()
        for byte in flags:
            self._override(byte)

    def _report(self) -> None:
        self._engine.say(self._status.report())
        self._engine.work(self._engine.costs.report_s)

    def _full_report(self) -> None:
        if self._engine.firmware.has_more_real_time:
            self._engine.say(self._status.full_report())

    def _cancel_jog(self) -> None:
        if self._engine.firmware.jog_cancel_empties_ring:
            self._engine.lines.clear()
        self._suspension.cancel_jog()

    def _toggle_mist(self) -> None:
        if "M" in self._engine.firmware.coolants:
            self._toggle_coolant("M")

    def _toggle_coolant(self, letter: str) -> None:
        if self._engine.state in (State.IDLE, State.RUN, State.HOLD, State.JOG):
            on = set(self._engine.modal.coolant) ^ {letter}
            self._engine.set_coolant("".join(sorted(on)))

    def _stop(self) -> None:
        """Brake, forget all that waits and be idle: the 32-bit firmware's stop byte."""
        engine = self._engine
        stopped = (State.RUN, State.HOLD, State.IDLE, State.JOG)
        if engine.firmware.has_stop_byte and engine.state in stopped:
            engine.lines.clear()
            engine.say("[MSG:Stop]")
            engine.modal = Modal(position=engine.modal.position, shift=engine.modal.shift)
            self._suspension.flush_after_braking()

    def _override(self, byte: int) -> None:
        engine, planner = self._engine, self._engine.planner
        feed = _stepped(planner.feed_percent, byte, firmware.FEED_STEPS_PERCENT)
        rapid = firmware.RAPIDS_PERCENT.get(byte, planner.rapid_percent)
        if (feed, rapid) != (planner.feed_percent, planner.rapid_percent):
            planner.override(feed_percent=feed, rapid_percent=rapid)
            engine.fields_due.note_overrides()
        power = _stepped(engine.power_percent, byte, firmware.POWER_STEPS_PERCENT)
        if power != engine.power_percent:
            engine.power_percent = power
            engine.fields_due.note_overrides()


def _stepped(percent: int, byte: int, steps: dict[int, int | None]) -> int:
    if byte not in steps:
        return percent
    step = steps[byte]
    return 100 if step is None else min(max(percent + step, _LEAST_PERCENT), _MOST_PERCENT)
