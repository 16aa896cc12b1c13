"""The controller's parts, and what settings and states mean to them."""

from collections.abc import Generator, Mapping
from typing import TYPE_CHECKING, cast

from etchpractice.controller.faults import Faults
from etchpractice.controller.interpreter import Interpreter
from etchpractice.controller.limits import AXIS_LETTERS, Limits
from etchpractice.controller.modal import Modal, Stored, Triple
from etchpractice.controller.realtime import RealTime
from etchpractice.controller.restart import Restart
from etchpractice.controller.states import State
from etchpractice.controller.status import Status
from etchpractice.controller.suspension import Suspension
from etchpractice.firmware.firmware import Firmware
from etchpractice.firmware.settings import Settings
from etchpractice.motion.planner import AXES, Order, Planner
from etchpractice.motion.stepper import Stepper, Track
from etchpractice.wire import NEVER_S, ReceiveRing, SendRing
from etchwire.controller_profile import LineCosts

if TYPE_CHECKING:
    from etchpractice.controller.services import Services

Task = Generator[float, None, None]

_SOFT_LIMIT_SLACK_MM = 1e-6


class Parts:
    """Everything the controller consists of, and its talking and waiting."""

    def __init__(
        self,
        firmware: Firmware,
        *,
        track: Track,
        settings: Mapping[int, float] | None = None,
        baud: int = 115200,
        costs: LineCosts | None = None,
    ) -> None:
        self.firmware = firmware
        self.costs = costs or firmware.costs
        self.track = track
        self.settings = Settings(firmware, settings or {})
        self.stored = Stored()
        self.modal = Modal()
        self.now_s = 0.0
        self.state = State.IDLE
        self.power_percent = 100
        self.is_going = False
        self.is_homed = False
        self.coolant_on = ""
        self.is_door_open = False
        self.limits = Limits([self.settings[130 + axis] for axis in AXES])
        self._closed_limits: frozenset[int] = frozenset()  # as they were seen last
        self.faults = Faults()
        self.receive = ReceiveRing(
            baud=baud,
            ring_bytes=firmware.receive_bytes,
            has_more_real_time=firmware.has_more_real_time,
        )
        self.send = SendRing(baud=baud, ring_bytes=firmware.send_bytes)
        self.planner = Planner(self.settings, firmware.planner_blocks)
        self.stepper = Stepper(
            self.planner, segments=firmware.segments, level_of=self.level_of, track=track
        )
        services = cast("Services", self)  # what the parts know it as
        self.status: Status = Status(services)
        self.suspension: Suspension = Suspension(services)
        self.real_time: RealTime = RealTime(services)
        self.interpreter: Interpreter = Interpreter(services)
        self.restart: Restart = Restart(services)
        self._busy_until_s = 0.0
        self._rest_s = NEVER_S  # when the motors have settled after the last segment
        self._partial = bytearray()
        self._pair = 0  # the byte that would be the other half of the line end just read
        self._waiting: tuple[Triple, Order] | None = None
        self._task: Task | None = None
        self._wake_s = NEVER_S
        self._sticky_error = 0

    # What settings and states mean

    @property
    def is_laser(self) -> bool:
        """Whether the laser mode is set: the beam follows the motion."""
        return self.settings[32] == 1

    @property
    def has_plain_moves(self) -> bool:
        """Whether a move needs nothing but room in the planner."""
        return self.is_laser and not self.settings[20]

    @property
    def is_at_hold(self) -> bool:
        """Whether a hold has come to rest."""
        return self.state is State.HOLD and self.suspension.is_at_hold

    def level_of(self, s: float) -> tuple[int, float]:
        """Return the output level for an S word, and S as reports show it."""
        least, most = self.settings[31], self.settings[30]
        s *= self.power_percent / 100
        if s <= 0:
            return 0, 0.0
        if s >= most or least >= most:
            return self.firmware.power_levels, most
        if s <= least:
            return 1, least
        return 1 + int((s - least) * (self.firmware.power_levels - 1) / (most - least)), s

    def may_reach(self, place: Triple) -> bool:
        """Whether the soft limits, if any, allow `place`: from 0 down to minus the travel."""
        if not self.settings[20] or (self.firmware.limits_homed_axes_only and not self.is_homed):
            return True
        return all(
            -self.settings[130 + axis] - _SOFT_LIMIT_SLACK_MM <= place[axis] <= _SOFT_LIMIT_SLACK_MM
            for axis in AXES
        )

    def open_pins(self) -> str:
        """Return the letters of the inputs that are active."""
        closed = self.limits.closed(self.stepper.place_at(self.now_s))
        letters = "".join(AXIS_LETTERS[axis] for axis in sorted(closed))
        return letters + ("D" if self.is_door_open else "")

    # Talking

    def say(self, text: str) -> None:
        """Send a line when the work in hand is done; without room for it the main loop waits."""
        at_s = max(self.now_s, self._busy_until_s)
        self.send.send(f"{text}\r\n".encode("ascii", "replace"), at_s)
        self.be_busy_until(self.send.room_s)

    def reply(self, error: int) -> None:
        """Answer a line."""
        text = self.faults.reply(f"error:{error}" if error else "ok")
        if text is not None:
            self.say(text)

    # Waiting

    def work(self, seconds: float) -> None:
        """Keep the main loop busy with `seconds` of work, which stepping draws out."""
        share = self.costs.interrupt_share(self.stepper.steps_per_s)
        self.be_busy_until(max(self._busy_until_s, self.now_s) + seconds / (1 - share))

    def be_busy_until(self, until_s: float) -> None:
        """Let the main loop do nothing before `until_s`."""
        self._busy_until_s = max(self._busy_until_s, until_s)

    def stop_being_busy(self) -> None:
        """Let the main loop go on now."""
        self._busy_until_s = self.now_s

    def be_deaf_until(self, until_s: float) -> None:
        """Lose what arrives before `until_s` as well."""
        self.be_busy_until(until_s)
        self.receive.deaf_until_s = max(self.receive.deaf_until_s, until_s)

    def wait_for_room(self) -> Task:
        """Wait until all that was said has found room to be sent."""
        while self._busy_until_s > self.now_s:
            yield self._busy_until_s
