"""The practice board: the contacts of the machine's box, and the chain that lets the beam be.

Inputs read as contacts do: True is closed. For every guard closed is safe, so a cut wire is not.

The chain: lid contacts, stop circuit and heartbeat contact feed a relay that holds itself and
that only the button at the machine sets; the daemon's beam enable follows in series; the input
`loop_closed` reads the end of the chain. The flame detector has no contact in it, as the wiring
would give it: here a fire is put out by the daemon alone, the harder case. The heartbeat
contact is a monostable: it counts from the first heartbeat on, and opens 0.4 s after the last
change. The relay starts set, as if somebody had pressed the button before the daemon came.
"""

from collections.abc import Callable
from typing import Final

from etchpractice.wire import NEVER_S

INPUTS: Final = (
    "lid", "lid_second", "air_flow", "flame", "stop_circuit", "temperature", "arm_button",
    "loop_closed",
)  # fmt: skip
OUTPUTS: Final = ("beam_enable", "extraction", "lamp", "buzzer", "heartbeat")
# What the library that reads a board can do wrong; who reads this one does it when told to.
READING_HANGS: Final = "reading_hangs"
EDGES_FAIL: Final = "edges_fail"
EDGES_ARE_LOST: Final = "edges_lost"
BEAM_PIN_IS_DEAD: Final = "beam_pin_dead"
# The contacts of the chain that can weld: K1, K2 and K3 of the wiring.
SAFETY_RELAY, BEAM_CONTACT, HEARTBEAT_CONTACT = "safety_relay", "beam_enable", "heartbeat"
RELAYS: Final = (SAFETY_RELAY, BEAM_CONTACT, HEARTBEAT_CONTACT)

HEARTBEAT_S: Final = 0.400
AIR_STARTS_S: Final = 0.8
AIR_STOPS_S: Final = 1.5
PRESS_S: Final = 0.2
_CHATTER_S: Final = 0.0005  # half a period at 1 kHz


class UnknownContact(ValueError):
    """The board has no such input or output."""


class Board:
    """Inputs that a test or a person moves, outputs that the daemon sets, and the chain between.

    `on_gate(at_s, is_closed)` hears of every change of what lets the beam through. `changes`
    collects (input, level) pairs until whoever serves the board takes them; `changed_at_s` is
    when each input did last.
    """

    def __init__(self, on_gate: Callable[[float, bool], None]) -> None:
        self.now_s = 0.0
        self.press_s = PRESS_S
        self.heartbeat_s = HEARTBEAT_S
        self.outputs = dict.fromkeys(OUTPUTS, False)
        self.changes: list[tuple[str, bool]] = []
        self.changed_at_s: dict[str, float] = {}
        self.is_connected = False
        self._was_ever_connected = False
        self._on_gate = on_gate
        self._contacts = dict.fromkeys(INPUTS, True) | {"arm_button": False, "air_flow": False}
        self._stuck: dict[str, bool] = {}
        self.doubts: dict[str, str] = {}  # input: why its level does not count
        self.library_faults: frozenset[str] = frozenset()  # of what reads the board in the daemon
        self._is_fan_dead = False
        self._welded: set[str] = set()
        self._is_button_bridged = False
        self._is_relay_set = True
        self._is_beating = True
        self._heartbeat_ends_s = NEVER_S
        self._air_changes_s = NEVER_S
        self._button_ends_s = NEVER_S
        self._chatters: dict[str, tuple[float, float]] = {}  # input: next change, end
        self._gate = True
        self._levels = self._read()

    def inputs(self) -> dict[str, bool]:
        """Return the level of every input."""
        return dict(self._levels)

    @property
    def tells_edges(self) -> bool:
        """Whether a change wakes who reads the board."""
        return EDGES_ARE_LOST not in self.library_faults

    @property
    def is_beam_enabled(self) -> bool:
        """Whether the beam is let through; without a daemon on the board it always is."""
        return self._is_chain_closed or not self._was_ever_connected

    @property
    def is_safety_relay_set(self) -> bool:
        """Whether the relay (K1) that only the button sets still holds itself."""
        return self._is_relay_set

    # The daemon's side

    def connect(self) -> None:
        """Hand the outputs to a daemon."""
        self.is_connected = self._was_ever_connected = True
        self._settle()

    def disconnect(self) -> None:
        """Let every output fall: the daemon is gone."""
        self.is_connected = False
        self.outputs = dict.fromkeys(OUTPUTS, False)
        self._follow_extraction()
        self._settle()

    def set_output(self, name: str, level: bool) -> None:
        """Set an output; raise UnknownContact."""
        if name not in self.outputs:
            raise UnknownContact(f"the board has no output {name!r}; it has {', '.join(OUTPUTS)}")
        if name == "heartbeat" and level is not self.outputs[name]:
            self._is_beating = True
            self._heartbeat_ends_s = self.now_s + self.heartbeat_s
        self.outputs[name] = level
        if name == "extraction":
            self._follow_extraction()
        self._settle()

    # The world's side

    def open_lid(self) -> None:
        """Open the lid: both of its contacts."""
        self._contacts["lid"] = self._contacts["lid_second"] = False
        self._settle()

    def close_lid(self) -> None:
        """Close the lid."""
        self._contacts["lid"] = self._contacts["lid_second"] = True
        self._settle()

    def set_input(self, name: str, *, level: bool) -> None:
        """Move one contact."""
        self._require_input(name)
        self._contacts[name] = level
        self._settle()

    def stick_input(self, name: str, *, level: bool | None) -> None:
        """Make an input read `level` whatever its contact does; None frees it.

        Only the reading sticks: the chain goes on following the contact.
        """
        self._require_input(name)
        if level is None:
            self._stuck.pop(name, None)
        else:
            self._stuck[name] = level
        self._settle()

    def freeze_inputs(self) -> None:
        """Make every input read for ever what it reads now, each time anew."""
        self._stuck = dict(self._levels)

    def doubt_input(self, name: str, *, how: str | None) -> None:
        """Let an input be `missing`, or its reading grow `stale`; None lets it be read again."""
        self._require_input(name)
        if how is None:
            self.doubts.pop(name, None)
        else:
            self.doubts[name] = how
        self.changes.append((name, self._levels[name]))

    def lose_edges(self) -> None:
        """Wake nobody by a change any more: who polls still sees it."""
        self.library_faults |= {EDGES_ARE_LOST}

    def hang_reading(self, *, is_hanging: bool) -> None:
        """Let whoever reads the inputs wait for ever, or no longer."""
        self.library_faults -= {READING_HANGS}
        if is_hanging:
            self.library_faults |= {READING_HANGS}

    def fail_edges(self) -> None:
        """Let whoever asks for edges be met by an exception of the library's."""
        self.library_faults |= {EDGES_FAIL}

    def kill_beam_pin(self) -> None:
        """Let whoever would open the beam's contact be met by an exception of the library's."""
        self.library_faults |= {BEAM_PIN_IS_DEAD}

    def chatter(self, name: str, *, seconds: float) -> None:
        """Let a contact open and close a thousand times a second for a while."""
        self._require_input(name)
        self._chatters[name] = (self.now_s, self.now_s + seconds)

    def press_button(self) -> None:
        """Press the button at the machine for a moment: arms, and sets the relay if it may be."""
        self._contacts["arm_button"] = True
        self._button_ends_s = self.now_s + self.press_s
        self._settle()

    def kill_fan(self) -> None:
        """Let the extraction's fan stop for good."""
        self._is_fan_dead = True
        self._follow_extraction()

    def mend_fan(self) -> None:
        """Let the extraction's fan run again."""
        self._is_fan_dead = False
        self._follow_extraction()

    def weld(self, name: str) -> None:
        """Weld a contact of the chain shut; raise UnknownContact."""
        if name not in RELAYS:
            raise UnknownContact(f"the chain has no {name!r}; it has {', '.join(RELAYS)}")
        self._welded.add(name)
        self._settle()

    def replace_relay(self, name: str) -> None:
        """Put a new relay in place of a welded one."""
        self._welded.discard(name)
        self._settle()

    def bridge_button(self) -> None:
        """Bridge the button at the machine: it is pressed for good."""
        self._is_button_bridged = self._contacts["arm_button"] = True
        self._settle()

    # Time

    @property
    def next_event_s(self) -> float:
        """When something here changes by itself."""
        next_s = min(self._heartbeat_ends_s, self._air_changes_s, self._button_ends_s, NEVER_S)
        if not self._chatters:
            return next_s
        return min(next_s, *(chatter_s for chatter_s, _ in self._chatters.values()))

    def advance_to(self, now_s: float) -> None:
        """Let time pass; nothing may be due before `now_s`."""
        self.now_s = now_s
        if now_s >= self._button_ends_s:
            self._contacts["arm_button"] = self._is_button_bridged
            self._button_ends_s = NEVER_S
        if now_s >= self._air_changes_s:
            self._contacts["air_flow"] = self._blows()
            self._air_changes_s = NEVER_S
        for name, (next_s, end_s) in list(self._chatters.items()):
            if now_s >= next_s:
                self._contacts[name] = not self._contacts[name]
                self._chatters[name] = (now_s + _CHATTER_S, end_s)
            if now_s >= end_s:
                self._contacts[name] = True
                del self._chatters[name]
        if now_s >= self._heartbeat_ends_s:
            self._is_beating = False
            self._heartbeat_ends_s = NEVER_S
        self._settle()

    def _blows(self) -> bool:
        return self.outputs["extraction"] and not self._is_fan_dead

    def _follow_extraction(self) -> None:
        if self._blows() is self._contacts["air_flow"]:
            self._air_changes_s = NEVER_S
        else:
            self._air_changes_s = self.now_s + (AIR_STARTS_S if self._blows() else AIR_STOPS_S)

    def _require_input(self, name: str) -> None:
        if name not in self._contacts:
            raise UnknownContact(f"the board has no input {name!r}; it has {', '.join(INPUTS)}")

    def _settle(self) -> None:
        """Work the relay and tell of what changed."""
        guards = ("lid", "lid_second", "stop_circuit")
        may_hold = all(self._contacts[name] for name in guards)
        may_hold = may_hold and (self._is_beating or HEARTBEAT_CONTACT in self._welded)
        is_pressed = self._contacts["arm_button"]
        self._is_relay_set = may_hold and (self._is_relay_set or is_pressed)
        levels = self._read()
        for name in INPUTS:
            if levels[name] is not self._levels[name]:
                self.changes.append((name, levels[name]))
                self.changed_at_s[name] = self.now_s
        self._levels = levels
        if self.is_beam_enabled is not self._gate:
            self._gate = self.is_beam_enabled
            self._on_gate(self.now_s, self._gate)

    @property
    def _is_chain_closed(self) -> bool:
        is_enabled = self.outputs["beam_enable"] or BEAM_CONTACT in self._welded
        return is_enabled and (self._is_relay_set or SAFETY_RELAY in self._welded)

    def _read(self) -> dict[str, bool]:
        return self._contacts | {"loop_closed": self._is_chain_closed} | self._stuck
