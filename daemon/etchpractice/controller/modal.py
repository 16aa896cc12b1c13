"""What the controller remembers from line to line, and how it tells of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from etchpractice.motion.planner import AXES, Beam

if TYPE_CHECKING:
    from etchpractice.firmware.firmware import Firmware
    from etchpractice.firmware.settings import Settings

MM_PER_INCH: Final = 25.4
SYSTEMS: Final = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
_PLACES: Final = ("G28", "G30")
_LATHE: Final = 2  # $32
_NOWHERE: Final = (0.0, 0.0, 0.0)

Triple = tuple[float, float, float]


@dataclass(slots=True)
class Stored:
    """What outlives a reset and a power cut: offsets and start-up lines."""

    systems: dict[str, Triple] = field(
        default_factory=lambda: dict.fromkeys((*SYSTEMS, *_PLACES), _NOWHERE)
    )
    start_up: list[str] = field(default_factory=lambda: ["", ""])
    note: str = ""  # what `$I=` was given


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
    coolant: str = ""  # F for flood, M for mist
    tool: int = 0
    feed: float = 0.0  # mm/min, or 1/min in inverse time
    s: float = 0.0
    position: Triple = _NOWHERE
    shift: Triple = _NOWHERE  # G92
    tool_lengths: Triple = _NOWHERE
    probed: Triple = _NOWHERE

    @property
    def scale(self) -> float:
        """Millimetres in one unit of the program."""
        return MM_PER_INCH if self.is_inches else 1.0

    def offset(self, stored: Stored) -> Triple:
        """Return what is added to a program's coordinate to have the machine's."""
        system = stored.systems[self.system]
        x, y, z = (sum(parts) for parts in zip(system, self.shift, self.tool_lengths, strict=True))
        return (x, y, z)

    def parser_line(self, firmware: "Firmware", settings: "Settings") -> str:
        """Return the state as `$G` shows it."""
        tells_all, is_lathe = firmware.tells_all_modes, settings[32] == _LATHE
        codes = (
            f"G{self.motion / 10:g}",
            self.system,
            "G92" if tells_all and any(self.shift) else "",
            "G8" if tells_all and is_lathe else "",
            f"G{self.plane // 10}",
            "G20" if self.is_inches else "G21",
            "G91" if self.is_incremental else "G90",
            "G93" if self.is_inverse_time else "G94",
            "G97" if tells_all and is_lathe else "",
            "G40 G49 G98 G50" if tells_all else "",
            f"M{int(self.beam)}",
            "M7" if "M" in self.coolant else "",
            "M8" if "F" in self.coolant else "",
            "" if self.coolant else "M9",
            f"T{self.tool}",
            f"F{self.feed / MM_PER_INCH:.1f}" if settings[13] else f"F{self.feed:.0f}",
            f"S{self.s:.0f}{'.' if tells_all else ''}",
        )
        return f"[GC:{' '.join(filter(None, codes))}]"

    def offset_lines(self, stored: Stored, firmware: "Firmware") -> Iterator[str]:
        """Yield the offsets as `$#` shows them."""
        for name in (*SYSTEMS[: firmware.systems], *_PLACES):
            yield f"[{name}:{triple(stored.systems[name])}]"
        yield f"[G92:{triple(self.shift)}]"
        lengths = self.tool_lengths
        yield f"[TLO:{triple(lengths) if firmware.offsets_every_axis else f'{lengths[2]:.3f}'}]"
        yield f"[PRB:{triple(self.probed)}:0]"


def system_name(code: int) -> str:
    """Return the name of a work coordinate system by its code."""
    return f"G{code / 10:g}"


def triple(values: Sequence[float]) -> str:
    """Return three coordinates as the controller prints them."""
    return ",".join(f"{values[axis] + 0.0:.3f}" for axis in AXES)
