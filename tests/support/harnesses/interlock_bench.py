"""A box on the bench: the interlocks alone, with inputs to operate and time moved by hand."""

from datetime import UTC, datetime

from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Input, Level, Look, Output
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.rules.verdict import LookOutcome
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.starting import StartRequest

MINIMUM = frozenset({Input.LID, Output.BEAM_ENABLE, Output.EXTRACTION})  # what lets a run begin
TICK_S = 0.01
DAY = "2026-05-04"
NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
ANSWERS = {
    "extinguisher": True,
    "lens": True,
    "filter": True,
    "focus": "spacer",
    "under the tile": True,
    "cloths and tins": True,
    "clean": True,
    "even": True,
    "coated hours ago": 26.0,
    "dry": True,
}


class Bench:
    """Plays the wires: fan and air, beam contact and loop follow the outputs unless broken."""

    def __init__(self, setup: Setup | None = None) -> None:
        self.interlocks = InterlockEngine(setup or Setup(wired=EVERYTHING))
        self.now_s = 1000.0
        self.closed = dict.fromkeys(self.interlocks.setup.inputs, True)
        self.unread: set[Input] = set()
        self.frozen_at_s: dict[Input, float] = {}
        self.follows_fan = True
        self.follows_beam = True
        self.is_loop_alive = True
        self.outputs = dict.fromkeys(Output, False)
        self.outcome: LookOutcome | None = None
        if Input.ARM_BUTTON in self.closed:
            self.closed[Input.ARM_BUTTON] = False

    def tick(self, opened: tuple[Input, ...] = (), *, lasts_s: float = TICK_S) -> LookOutcome:
        """Look once, then let ten milliseconds pass."""
        self._let_wires_follow()
        if self.is_loop_alive:
            self.interlocks.note_loop_alive(self.now_s)
        self.outcome = self.interlocks.look(self.sight(opened))
        self.outputs |= self.outcome.outputs
        is_on = self.outputs[Output.BEAM_ENABLE]
        self.interlocks.note_beam_driven(is_on=is_on, now_s=self.now_s)
        self.now_s += lasts_s
        return self.outcome

    def sight(self, opened: tuple[Input, ...] = ()) -> Look:
        levels = {
            name: Level(is_closed, self.frozen_at_s.get(name, self.now_s))
            for name, is_closed in self.closed.items()
            if name not in self.unread
        }
        return Look(levels=levels, opened=opened, now_s=self.now_s)

    def run(self, seconds: float) -> LookOutcome:
        """Look every ten milliseconds for `seconds`; long waits in coarser steps.

        None is so long that a reading would grow stale, or the heartbeat's contact open.
        """
        lasts_s = TICK_S if seconds < 1.0 else 10 * TICK_S if seconds < 30.0 else 20 * TICK_S
        for _ in range(max(1, round(seconds / lasts_s))):
            orders = self.tick(lasts_s=lasts_s)
        return orders

    def open(self, name: Input) -> None:
        self.closed[name] = False

    def close(self, name: Input) -> None:
        self.closed[name] = True

    def press_button(self) -> None:
        self.close(Input.ARM_BUTTON)
        self.run(0.2)
        self.open(Input.ARM_BUTTON)
        self.run(0.05)

    def open_and_shut_lid(self) -> None:
        for name in (Input.LID, Input.LID_SECOND):
            if name in self.closed:
                self.open(name)
        self.run(0.5)
        for name in (Input.LID, Input.LID_SECOND):
            if name in self.closed:
                self.close(name)
        self.run(0.7)

    def show_somebody(self) -> None:
        if Input.ARM_BUTTON in self.closed:
            self.press_button()
        else:
            self.open_and_shut_lid()

    def ask_to_arm(self, **options: bool) -> None:
        self.interlocks.arm(ANSWERS, day=DAY, now_s=self.now_s, **options)

    def arm(self, **options: bool) -> None:
        self.run(1.0)
        self.ask_to_arm(**options)
        self.run(0.5)
        self.show_somebody()
        self.run(self.interlocks.setup.extraction.purge_s + 1)

    def start(self, lasts_s: float = 600.0) -> None:
        """Arm, start and let the beam come."""
        self.arm()
        self.interlocks.begin_run(StartRequest(lasts_s=lasts_s, starts_at=NOON), self.now_s)
        self.interlocks.allow_beam(self.now_s)
        self.run(0.3)
        assert self.outputs[Output.BEAM_ENABLE], "the bench itself must be able to etch"

    def reset_everything(self) -> None:
        names = [trip.rule.name for trip in self.interlocks.latch.trips]
        self.interlocks.reset(names, self.now_s)

    @property
    def reaction(self) -> Reaction:
        return self.interlocks.judge(self.now_s).reaction

    @property
    def tripped(self) -> list[str]:
        return [trip.rule.name for trip in self.interlocks.latch.trips]

    @property
    def is_beam_on(self) -> bool:
        return self.outputs[Output.BEAM_ENABLE]

    def _let_wires_follow(self) -> None:
        if self.follows_fan:
            for name in (Input.AIR_FLOW, Input.PRESSURE_ABOVE_LOW):
                if name in self.closed:
                    self.closed[name] = self.outputs[Output.EXTRACTION]
        if self.follows_beam and Input.LOOP_CLOSED in self.closed:
            self.closed[Input.LOOP_CLOSED] = self.outputs[Output.BEAM_ENABLE]
