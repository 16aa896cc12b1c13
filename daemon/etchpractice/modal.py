"""What the controller remembers from line to line, and how it tells of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from etchpractice.planner import AXES, Beam

MM_PER_INCH: Final = 25.4
SYSTEMS: Final = ("G54", "G55", "G56", "G57", "G58", "G59", "G28", "G30")
_NOWHERE: Final = (0.0, 0.0, 0.0)

Triple = tuple[float, float, float]


@dataclass(slots=True)
class Stored:
    """What outlives a reset and a power cut: offsets and start-up lines."""

    systems: dict[str, Triple] = field(default_factory=lambda: dict.fromkeys(SYSTEMS, _NOWHERE))
    start_up: list[str] = field(default_factory=lambda: ["", ""])


@dataclass(slots=True)
class Modal:
    """The parser's state; a reset makes a new one. Lengths in mm, codes ten times their number."""

    motion: int = 0
    plane: int = 170
    is_incremental: bool = False
    is_inverse_time: bool = False
    is_inches: bool = False
    system: str = "G54"
    beam: Beam = Beam.OFF
    has_flood: bool = False
    tool: int = 0
    feed: float = 0.0  # mm/min, or 1/min in inverse time
    s: float = 0.0
    position: Triple = _NOWHERE
    shift: Triple = _NOWHERE  # G92
    tool_length: float = 0.0
    probed: Triple = _NOWHERE

    @property
    def scale(self) -> float:
        """Millimetres in one unit of the program."""
        return MM_PER_INCH if self.is_inches else 1.0

    def offset(self, stored: Stored) -> Triple:
        """Return what is added to a program's coordinate to have the machine's."""
        x, y, z = (a + b for a, b in zip(stored.systems[self.system], self.shift, strict=True))
        return (x, y, z + self.tool_length)

    def parser_line(self) -> str:
        """Return the state as `$G` shows it."""
        codes = [
            f"G{self.motion / 10:g}",
            self.system,
            f"G{self.plane // 10}",
            "G20" if self.is_inches else "G21",
            "G91" if self.is_incremental else "G90",
            "G93" if self.is_inverse_time else "G94",
            f"M{int(self.beam)}",
            "M8" if self.has_flood else "M9",
            f"T{self.tool}",
            f"F{self.feed / self.scale:.0f}",
            f"S{self.s:.0f}",
        ]
        return f"[GC:{' '.join(codes)}]"

    def offset_lines(self, stored: Stored) -> Iterator[str]:
        """Yield the offsets as `$#` shows them."""
        for name in SYSTEMS:
            yield f"[{name}:{triple(stored.systems[name])}]"
        yield f"[G92:{triple(self.shift)}]"
        yield f"[TLO:{self.tool_length:.3f}]"
        yield f"[PRB:{triple(self.probed)}:0]"


def triple(values: Sequence[float]) -> str:
    """Return three coordinates as the controller prints them."""
    return ",".join(f"{values[axis] + 0.0:.3f}" for axis in AXES)
