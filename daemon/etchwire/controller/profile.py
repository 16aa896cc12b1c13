"""What a motion controller can take in: its buffers, and what its own processor needs for a line.

On the 8-bit part the processor bounds a picture, not the cable: it takes in 375 to 400 moving
lines a second. A short queue then also looks less far ahead, so the head runs slower still.
"""

from dataclasses import dataclass, fields
from typing import Final, Self

from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_positive, require_types

INTERRUPTS_PER_S: Final = 8000.0  # below it the firmware doubles the rate of its step interrupt,
MOST_DOUBLINGS: Final = 3  # three times at most; all but every eighth then only count
DOT_WORDS: Final = 2  # the place along the row and the power
REPORT_EVERY_S: Final = 0.2  # the daemon asks so often, and a report costs `report_s`
_MOST_SHARE: Final = 0.9
_SLOWEST_S: Final = 1.0  # no controller takes so long over anything


@dataclass(frozen=True, slots=True, kw_only=True)
class LineCosts(Plain):
    """Seconds of the controller's processor; stepping takes its share of every second besides.

    Whenever a line is added, the firmware plans again each queued block that cannot run at its
    full speed: `replan_s` is spent on each.
    """

    read_s: float  # reading a line that moves, of DOT_WORDS, up to its place in the planner
    answer_s: float  # answering it, and once round the main loop
    plain_s: float  # reading a line that does not move
    report_s: float
    replan_s: float
    level_segment_s: float  # preparing a segment at even speed
    ramp_segment_s: float  # preparing one in which the speed changes
    interrupt_s: float  # one step interrupt
    word_s: float = 0.0  # reading each word more than DOT_WORDS in a line that moves, or fewer

    def __post_init__(self) -> None:
        """Refuse what is no time."""
        require_types("the controller", self)
        for entry in fields(self):
            value = getattr(self, entry.name)
            is_fit = 0 <= value <= self.read_s if entry.name == "word_s" else value > 0
            if not is_fit or value > _SLOWEST_S:
                raise UnreadableSheet(f"the controller's {entry.name} cannot be {value!r:.60}")

    def move_read_s(self, words: int) -> float:
        """Return what reading a line that moves takes, of so many words."""
        return self.read_s + self.word_s * (words - DOT_WORDS)

    def interrupt_share(self, steps_per_s: float) -> float:
        """Return the share of the processor that stepping takes at this rate."""
        rate, doublings = steps_per_s, 0
        while rate < INTERRUPTS_PER_S and doublings < MOST_DOUBLINGS:
            rate, doublings = rate * 2, doublings + 1
        return min(rate * self.interrupt_s, _MOST_SHARE)

    def times(self, factor: float) -> Self:
        """Return the costs of a processor that needs `factor` times as long for everything."""
        return type(self)(
            **{entry.name: getattr(self, entry.name) * factor for entry in fields(self)}
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerProfile(Plain):
    """A controller's buffers and costs; `is_measured` says that this very one was measured."""

    planner_blocks: int
    receive_bytes: int
    costs: LineCosts
    power_pulse_s: float = 0.0  # of the light at part power; 0 where it is too short to matter
    is_measured: bool = False

    def __post_init__(self) -> None:
        """Refuse buffers that hold nothing."""
        require_types("the controller", self)
        require_positive("the controller's planner_blocks", self.planner_blocks)
        require_positive("the controller's receive_bytes", self.receive_bytes)
        if self.power_pulse_s:
            require_positive("the controller's power_pulse_s", self.power_pulse_s)


# Fitted to a cycle-accurate run of the firmware image; not measured on a physical board.
EIGHT_BIT: Final = ControllerProfile(
    planner_blocks=15,
    receive_bytes=128,
    costs=LineCosts(
        read_s=740e-6,
        answer_s=440e-6,
        plain_s=165e-6,
        report_s=900e-6,
        replan_s=45.5e-6,
        level_segment_s=330e-6,
        ramp_segment_s=475e-6,
        interrupt_s=20.9e-6,
        word_s=120e-6,
    ),
    power_pulse_s=1.024e-3,
)
# Assumed: a 32-bit part is many times as fast, and nobody has measured by how much.
THIRTY_TWO_BIT: Final = ControllerProfile(
    planner_blocks=100, receive_bytes=1024, costs=EIGHT_BIT.costs.times(1 / 15)
)
