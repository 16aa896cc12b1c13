"""What etches and how: the head, and the recipe that suits it on one surface."""

import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, asdict, dataclass, field, fields
from typing import TYPE_CHECKING, Any, Final, Self

from etchwire.errors import UnreadableSheet

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

SECONDS_PER_MINUTE = 60.0
FURTHEST_MM: Final = 1e6
# What no machine and no job comes to, by a number's name or by its unit, the last word of it:
# beyond that a file is damaged, and sums would run over.
LARGEST: Final[Mapping[str, float]] = {
    "rows": 1e6, "columns": 1e6, "px": 1e6, "mm": FURTHEST_MM, "s": 1e8, "w": 1e6,
    "min": 1e6,  # mm/min
    "s2": 1e9,  # mm/s²
    "mm2": 1e9,  # J/mm²
}  # fmt: skip
_LARGEST_OF_OTHERS: Final = 1e12  # bytes, lines
SMALLEST: Final = 1e-6  # of what has to be above zero
_EITHER_SIDE: Final = ("pointer_x_mm", "pointer_y_mm")  # of nought: an offset, no size


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A value that travels as a JSON object or a TOML table of the same names."""

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """Build from `table`; raise UnreadableSheet for a missing, unknown or unfit entry."""
        known = {entry.name: entry for entry in fields(cls)}
        unknown = sorted(set(table) - set(known))
        if unknown:
            raise UnreadableSheet(f"unknown entry {unknown[0]!r} in {cls.__name__.lower()}")
        required = {
            name
            for name, entry in known.items()
            if entry.default is MISSING and entry.default_factory is MISSING
        }
        missing = sorted(required - set(table))
        if missing:
            raise UnreadableSheet(f"{cls.__name__.lower()} lacks the entry {missing[0]!r}")
        return cls(**table)

    def to_table(self) -> dict[str, Any]:
        """Return the plain table that `from_table` reads."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Register(Plain):
    """Why rows burnt in opposite directions do not meet, as measured on a register card.

    A row burnt at `v` lands `v * beam_lag_s + slack_mm / 2` further along its own direction
    than it was told to; the writer starts it that much earlier.
    """

    beam_lag_s: float = 0.0
    slack_mm: float = 0.0
    is_measured: bool = False

    def __post_init__(self) -> None:
        """Refuse a figure that moves no row by a known length."""
        require_types("the register", self)

    def lead_mm(self, feed_mm_per_min: float) -> float:
        """Return how far ahead of its place a row at this feed has to start, in mm."""
        return feed_mm_per_min / SECONDS_PER_MINUTE * self.beam_lag_s + self.slack_mm / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Head(Plain):
    """A laser module on a machine.

    `pointer_x_mm` and `pointer_y_mm` are where its pointer shines, seen from the beam's place.
    """

    name: str
    rated_optical_w: float
    spot_x_mm: float
    spot_y_mm: float
    is_spot_measured: bool
    max_s: float
    max_feed_mm_per_min: float
    acceleration_mm_per_s2: float
    travel_x_mm: float
    travel_y_mm: float
    register: Register = field(default_factory=Register)
    pointer_x_mm: float = 0.0
    pointer_y_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse an entry that is not what it should be: a figure above zero, a text, a yes."""
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name in _EITHER_SIDE:
                continue
            if entry.type is float:
                require_positive(f"the head's {entry.name}", value)
            elif not isinstance(value, entry.type):  # type: ignore[arg-type]
                raise UnreadableSheet(f"the head's {entry.name} cannot be {value!r}")
        require_types("the head", self)

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """Build from `table`, with `register` as a table inside it."""
        inner = table.get("register", {})
        if not isinstance(inner, Mapping):
            raise UnreadableSheet(f"the head's register must be a table, not {inner!r}")
        return super(Head, cls).from_table({**table, "register": Register.from_table(inner)})

    @property
    def spot_mm(self) -> float:
        """The spot's extent across the rows, which the line spacing must not undercut."""
        return self.spot_y_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe(Plain):
    """Speed, power and spacing that suit one head on one surface."""

    surface: str
    feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    air_assist: bool = False

    def __post_init__(self) -> None:
        """Refuse figures that no laser can run, naming the one at fault."""
        require_types("the recipe", self)
        require_positive("speed", self.feed_mm_per_min)
        require_positive("power", self.power_ratio)
        require_positive("line spacing", self.line_spacing_mm)
        if self.power_ratio > 1:
            raise UnreadableSheet(
                f"power {self.power_ratio * 100:g} % is more than the laser has; 100 % is all of it"
            )

    def power_w(self, head: Head) -> float:
        """Return the optical power asked for, in watts."""
        return head.rated_optical_w * self.power_ratio

    def dose_j_per_mm2(self, head: Head) -> float:
        """Return the energy one pass puts on each square millimetre, in J/mm².

        A beam of P watts crossing one millimetre takes 60 / feed seconds; the energy it leaves
        there is spread over one line's width.
        """
        return dose_j_per_mm2(
            power_w=self.power_w(head),
            feed_mm_per_min=self.feed_mm_per_min,
            line_spacing_mm=self.line_spacing_mm,
        )


def dose_j_per_mm2(*, power_w: float, feed_mm_per_min: float, line_spacing_mm: float) -> float:
    """Return P / (v h): the usual area dose of a raster, in J/mm²."""
    return power_w * SECONDS_PER_MINUTE / (feed_mm_per_min * line_spacing_mm)


def require_types(owner: str, thing: "DataclassInstance") -> None:
    """Raise UnreadableSheet unless each entry is of its type, and no number beyond LARGEST.

    Looks at `str`, `bool`, `int` and `float` entries; what is made of parts sees to them itself.
    """
    for entry in fields(thing):
        value = getattr(thing, entry.name)
        is_fit = _IS_FIT.get(entry.type, _is_anything)
        if not is_fit(entry.name, value):
            raise UnreadableSheet(f"{owner}'s {entry.name} cannot be {value!r:.60}")


def _is_anything(_name: str, _value: object) -> bool:
    return True


def _is_number(name: str, value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False  # True is an int to Python, and no figure of anything
    unit = name.rpartition("_")[2]
    return abs(value) <= LARGEST.get(name, LARGEST.get(unit, _LARGEST_OF_OTHERS))


def _is_text(_name: str, value: object) -> bool:
    if not isinstance(value, str):
        return False
    try:
        value.encode()
    except UnicodeEncodeError:  # half of a surrogate pair: no file and no logbook takes it
        return False
    return True


_IS_FIT: Final[Mapping[object, Callable[[str, object], bool]]] = {
    str: _is_text,
    bool: lambda _name, value: isinstance(value, bool),
    int: lambda name, value: isinstance(value, int) and _is_number(name, value),
    float: _is_number,
}


def require_positive(name: str, value: object) -> None:
    """Raise UnreadableSheet unless `value` is a number above zero, and not next to nothing."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < math.inf:
        raise UnreadableSheet(f"{name} must be a number above zero, not {value!r:.60}")
    if value < SMALLEST:
        raise UnreadableSheet(f"{name} cannot be as small as {value!r}")
