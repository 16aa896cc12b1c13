"""The practice machine in memory: controller, board, beam and tile, with time moved by hand."""

import random
from collections.abc import Mapping

from etchpractice.box.board import Board
from etchpractice.controller.controller import Controller
from etchpractice.controller.engine import Engine
from etchpractice.controller.faults import Faults
from etchpractice.diode import Diode
from etchpractice.firmware import firmware as protocol
from etchpractice.firmware.firmware import FIRMWARES
from etchpractice.motion.track import BeamTrack
from etchpractice.practice_head import BEAM_LAG_S, PRACTICE_HEAD, SLACK_MM, settings_of
from etchpractice.tile.imperfections import NONE, Imperfections
from etchpractice.tile.surface import DEFAULT, surface_named
from etchpractice.tile.tile import Rectangle, Tile
from etchwire.catalogue.heads import Head
from etchwire.controller.profile import LineCosts


class Unplugged(OSError):
    """The cable is out."""


class PracticeMachine:
    """What stands at the other end of the cable.

    `write` and `read` are the host's: bytes that leave it now, bytes that have reached it by
    now. Both raise Unplugged while the cable is out. Nothing happens but in `advance`.
    """

    def __init__(  # noqa: PLR0913 - one keyword for each thing to be chosen
        self,
        *,
        head: Head = PRACTICE_HEAD,
        firmware: str = "8-bit",
        surface: str = DEFAULT,
        settings: Mapping[int, float] | None = None,
        baud: int = 115200,
        beam_lag_s: float = BEAM_LAG_S,
        slack_mm: float = SLACK_MM,
        tile_mm: Rectangle | None = None,
        costs: LineCosts | None = None,
        power_pulse_s: float = 0.0,
        seed: int = 1,
        imperfections: Imperfections = NONE,
    ) -> None:
        self.head = head
        self.is_plugged = True
        self._is_hung = False
        self._is_powered = True
        self._noise = random.Random(seed)  # noqa: S311 - noise, not secrets
        self._track = BeamTrack(
            beam_lag_s=beam_lag_s, slack_mm=slack_mm, power_pulse_s=power_pulse_s
        )
        kind = FIRMWARES[firmware]
        engine = Engine(
            kind,
            track=self._track,
            settings=settings_of(head, kind) | dict(settings or {}),
            baud=baud,
            costs=costs,
        )
        self.controller = Controller(engine)
        self.board = Board(lambda at_s, is_closed: self._track.set_gate(at_s, is_closed=is_closed))
        self._tile = Tile(
            surface_named(surface),
            rated_optical_w=head.rated_optical_w,
            spot_x_mm=head.spot_x_mm,
            spot_y_mm=head.spot_y_mm,
            levels=kind.power_levels,
            rectangle=tile_mm,
            seed=seed,
            imperfections=imperfections,
        )
        self._diode = Diode(imperfections.fade_per_h)

    # The host's side

    @property
    def now_s(self) -> float:
        """Simulated seconds since power came."""
        return self.controller.engine.now_s

    def write(self, data: bytes) -> None:
        """Let `data` leave the host now."""
        self._require_cable()
        if self._is_running:
            self.controller.write(data)

    def read(self) -> bytes:
        """Return the bytes that have reached the host and were not read yet."""
        self._require_cable()
        return self.controller.engine.send.take(self.now_s)

    def advance(self, seconds: float, *, stops_for_host: bool = False) -> None:
        """Let time pass; it may stop earlier, where the machine `waits_for_host`."""
        end_s = self.now_s + seconds
        while self.board.next_event_s <= end_s:
            at_s = max(self.board.next_event_s, self.now_s)
            self._advance_controller(at_s, stops_for_host=stops_for_host)
            if self.now_s < at_s:
                end_s = self.now_s
                break
            self.board.advance_to(at_s)
        self._advance_controller(end_s, stops_for_host=stops_for_host)
        self.board.now_s = self.now_s
        if self._track.is_long:
            self._tile.expose(self._diode.faded(self._track.take()))

    def _advance_controller(self, end_s: float, *, stops_for_host: bool) -> None:
        if self._is_running:
            self.controller.advance_to(end_s, stops_for_host=stops_for_host)
        else:
            self.controller.engine.now_s = end_s

    @property
    def _is_running(self) -> bool:
        """Whether the controller's program is."""
        return self._is_powered and not self._is_hung

    @property
    def needs_no_host(self) -> bool:
        """Whether lines are still under way or waiting, so that time may pass unasked."""
        return not self.controller.engine.receive.is_quiet

    @property
    def waits_for_host(self) -> bool:
        """Whether the host can read something and nothing of its own is left to be worked on."""
        return self.controller.engine.host_is_due_s <= self.now_s

    # What can be seen

    @property
    def tile(self) -> Tile:
        """The tile as it is at this moment."""
        is_standing = not self.controller.engine.stepper.segments
        strokes = self._track.take(self.now_s if is_standing else None)
        self._tile.expose(self._diode.faded(strokes))
        return self._tile

    def lay_new_tile(self) -> None:
        """Take the tile away and lay one like it that was never burnt."""
        self.tile.lay_anew()

    def lay_on_wedge(
        self, rise_mm: float = 18.0, length_mm: float = 150.0, in_focus_at_mm: float = 30.0
    ) -> None:
        """Lay a new tile whose right end is packed up, with the laser raised to match.

        It rises by `rise_mm` over `length_mm`, and is in focus `in_focus_at_mm` from the bed's left
        edge: the middle of a focus card that begins there.
        """
        self.tile.lay_anew(tilt_mm_per_mm=rise_mm / length_mm, in_focus_at_mm=in_focus_at_mm)

    @property
    def head_mm(self) -> tuple[float, float]:
        """Where the head really is on the bed."""
        return self._track.head_mm

    @property
    def is_burning(self) -> bool:
        """Whether light falls on the tile at this moment."""
        return bool(self.controller.engine.stepper.level) and self.board.is_beam_enabled

    # Cable and power

    def unplug(self) -> None:
        """Pull the cable: what is under way is lost, the machine goes on with what it has."""
        self.is_plugged = False
        self.controller.engine.receive.cut()
        self.controller.engine.send.cut()

    def plug_in(self) -> None:
        """Put the cable back."""
        self.is_plugged = True

    def open_port(self, boot_s: float = 0.0) -> None:
        """Open the port as the host does: that pulses the reset line of the 8-bit board."""
        if self._is_powered and not self.controller.engine.firmware.has_native_usb:
            self.reset_now(boot_s)

    def reset_now(self, boot_s: float = 0.0) -> None:
        """Press the controller's reset button: it greets after `boot_s` and has lost its place."""
        self._is_hung = False
        self.controller.engine.send.is_mute = False
        self.controller.restart.power_on(boot_s)

    def brown_out(self) -> None:
        """Let the supply dip: garbage, then a restart nobody asked for."""
        self.send_noise(40)
        self.reset_now(boot_s=0.05)

    def lose_power(self) -> None:
        """Take the power away: the controller stops dead and nothing holds the head."""
        self._is_powered = False
        self.controller.engine.stop_dead()
        self.controller.engine.receive.cut()
        self.controller.engine.send.cut()

    def get_power(self, boot_s: float = 0.5) -> None:
        """Give the power back: the tables are as they were, but the place counts from zero."""
        self._is_powered = True
        self.reset_now(boot_s)

    def push_head(self, x_mm: float, y_mm: float) -> None:
        """Push the head by hand, uncounted; raise ValueError while the motors hold it."""
        if self._is_powered:
            raise ValueError("the motors hold the head: it can be pushed only without power")
        self._track.push(self.now_s, x_mm, y_mm)

    def hang(self) -> None:
        """Let the controller stop dead in its program, outputs as they are, until it is reset."""
        self.controller.engine.stepper.stop_dead(self.now_s)
        self.controller.engine.is_going = False
        self._is_hung = True

    # Talk that goes wrong

    @property
    def faults(self) -> Faults:
        """What waits to happen to the next line and the next reply."""
        return self.controller.engine.faults

    def fall_silent(self) -> None:
        """Send nothing any more; lines are still taken and run."""
        self.controller.engine.send.is_mute = True

    def speak_again(self) -> None:
        """End a silence."""
        self.controller.engine.send.is_mute = False

    def release_replies(self) -> None:
        """Send what was kept back and answer again."""
        for text in self.faults.release_replies():
            self.controller.engine.say(text)

    def extra_reply(self) -> None:
        """Send an ok that answers nothing."""
        self.controller.engine.say("ok")

    def greet_again(self) -> None:
        """Send the greeting once more, without a reset."""
        self.controller.engine.say(f"\r\n{self.controller.engine.firmware.greeting}")

    def delay_replies(self, seconds: float) -> None:
        """Let everything that is sent from now on arrive so much later."""
        self.controller.engine.send.delay_s = seconds

    def send_noise(self, count: int) -> None:
        """Send random bytes."""
        self.controller.engine.send.send(self._noise.randbytes(count), self.now_s)

    # The controller's own inputs

    def trip_alarm(self, number: int) -> None:
        """Stop dead and lock, as if a limit switch or a failed cycle had done it."""
        self.controller.engine.raise_alarm(number)

    def press_limits(self, *axes: int) -> None:
        """Hold down a limit switch of each of these axes; none lets all go."""
        self.controller.engine.limits.held_down = set(axes)

    def open_door_pin(self) -> None:
        """Open the contact at the controller's own door input."""
        self.controller.engine.is_door_open = True
        self.controller.real_time.raise_flag(protocol.DOOR)

    def close_door_pin(self) -> None:
        """Close the contact at the controller's own door input."""
        self.controller.engine.is_door_open = False
        self.controller.suspension.look_at_door()

    def _require_cable(self) -> None:
        if not self.is_plugged:
            raise Unplugged("the practice machine's cable is out")
