"""The connected machine, as far as it decides how a file will run."""

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Final, Self

from etchpath.errors import UnreadableMachine
from etchwire.bed import Bed
from etchwire.catalogue.heads import Head
from etchwire.controller.profile import EIGHT_BIT, LineCosts
from etchwire.errors import UnreadableSheet
from etchwire.plain import LARGEST, SMALLEST, Plain
from etchwire.toml_text import read_toml
from etchwire.transport.json_text import JsonTable

SECONDS_PER_MINUTE: Final = 60.0
BITS_PER_BYTE: Final = 10  # a start bit, eight bits, a stop bit

# These may be zero: an origin in the corner, and a controller that rounds no corner.
_MAY_BE_ZERO: Final = frozenset({"origin_x_mm", "origin_y_mm", "junction_deviation_mm"})

# Beyond these the arithmetic of the planner runs over, or its memory: 100 blocks are usual.
_MOST: Final = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine(Plain):
    """Travel, limits and buffers; what is not given is the 8-bit firmware's default.

    `origin_x_mm` and `origin_y_mm` say where the set origin lies, seen from the lower left
    corner of the travel; where the machine was not homed (`is_homed`) nobody knows that.
    """

    travel_x_mm: float
    travel_y_mm: float
    max_feed_x_mm_per_min: float
    max_feed_y_mm_per_min: float
    acceleration_x_mm_per_s2: float
    acceleration_y_mm_per_s2: float
    max_s: float
    origin_x_mm: float = 0.0
    origin_y_mm: float = 0.0
    is_homed: bool = True
    junction_deviation_mm: float = 0.01
    arc_tolerance_mm: float = 0.002
    steps_per_mm: float = 80.0
    planner_blocks: int = 15
    receive_bytes: int = 128
    line_limit: int = 79
    line_limit_counts_all: bool = False  # blanks and comments too, as the 32-bit firmware does
    costs: LineCosts = EIGHT_BIT.costs
    baud: int = 115200
    can_coolant_switch_extraction: bool = False
    has_heartbeat_contact: bool = False

    def __post_init__(self) -> None:
        """Refuse a figure that no machine has, naming it."""
        for entry in fields(self):
            _require(entry.name, getattr(self, entry.name), entry.type)

    @classmethod
    def of_head(cls, head: Head) -> Self:
        """Describe the machine that carries `head`, both axes alike."""
        return cls(
            travel_x_mm=head.travel_x_mm,
            travel_y_mm=head.travel_y_mm,
            max_feed_x_mm_per_min=head.max_feed_mm_per_min,
            max_feed_y_mm_per_min=head.max_feed_mm_per_min,
            acceleration_x_mm_per_s2=head.acceleration_mm_per_s2,
            acceleration_y_mm_per_s2=head.acceleration_mm_per_s2,
            max_s=head.max_s,
            planner_blocks=head.controller.planner_blocks,
            receive_bytes=head.controller.receive_bytes,
            costs=head.controller.costs,
        )

    @classmethod
    def from_table(cls, table: JsonTable) -> Self:
        """Build from `table`; raise UnreadableMachine for a missing, unknown or unfit entry."""
        try:
            return super(Machine, cls).from_table(table)
        except UnreadableSheet as error:
            raise UnreadableMachine(f"the machine description: {error}") from error

    @classmethod
    def from_toml(cls, path: Path) -> Self:
        """Read the description at `path`; raise UnreadableMachine when that cannot be done."""
        try:
            return cls.from_table(read_toml(path.read_text(encoding="utf-8")))
        except (OSError, ValueError) as error:
            if isinstance(error, UnreadableMachine):
                raise
            raise UnreadableMachine(f"{path} is no machine description: {error}") from error

    @property
    def bed(self) -> Bed:
        """Where its head can go, in the job's coordinates."""
        if not self.is_homed:
            return Bed.unhomed(self.travel_x_mm, self.travel_y_mm)
        return Bed(
            left_mm=-self.origin_x_mm,
            bottom_mm=-self.origin_y_mm,
            right_mm=self.travel_x_mm - self.origin_x_mm,
            top_mm=self.travel_y_mm - self.origin_y_mm,
            is_homed=True,
        )

    @property
    def after_stop_s(self) -> float:
        """What the head waits for a line after a stop: till then no more are read."""
        return self.costs.plain_s + self.costs.read_s + self.costs.ramp_segment_s

    @property
    def bytes_per_s(self) -> float:
        """What the serial line carries each way."""
        return self.baud / BITS_PER_BYTE


def _require(name: str, value: object, kind: object) -> None:
    if kind is LineCosts and isinstance(value, LineCosts):
        return
    if kind is bool:
        if isinstance(value, bool):
            return
        raise UnreadableMachine(f"the machine's {name} must be true or false, not {value!r}")
    least_text = "zero or more" if name in _MAY_BE_ZERO else "above zero"
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    is_kind = isinstance(value, int) or kind is not int
    if not isinstance(value, (int, float)) or not (is_number and is_kind and _is_fit(name, value)):
        raise UnreadableMachine(
            f"the machine's {name} must be a number {least_text}, not {value!r:.60}"
        )
    most = LARGEST["blocks"] if name == "planner_blocks" else _MOST
    if value > most or 0 < value < SMALLEST:
        raise UnreadableMachine(f"the machine's {name} cannot be {value!r:.60}: no machine has it")


def _is_fit(name: str, value: float) -> bool:
    return value > 0 or (value == 0 and name in _MAY_BE_ZERO)
