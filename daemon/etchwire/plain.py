"""Values that travel as JSON objects or TOML tables, and what their entries may hold."""

import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, asdict, dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Final, Self

from etchwire.errors import UnreadableSheet

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

FURTHEST_MM: Final = 1e6
# What no machine and no job comes to, by a number's name or by its unit, the last word of it:
# beyond that a file is damaged, and sums would run over.
LARGEST: Final[Mapping[str, float]] = {
    "rows": 1e6, "columns": 1e6, "px": 1e6, "mm": FURTHEST_MM, "s": 1e8, "w": 1e6,
    "min": 1e6,  # mm/min
    "s2": 1e9,  # mm/s²
    "mm2": 1e9,  # J/mm²
    "blocks": 10_000,  # of a planner
}  # fmt: skip
_LARGEST_OF_OTHERS: Final = 1e12  # bytes, lines
SMALLEST: Final = 1e-6  # of what has to be above zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A value that travels as a JSON object or a TOML table of the same names.

    Entries that are such values themselves travel as tables inside it.
    """

    @classmethod
    def from_table(cls, table: Mapping[str, object]) -> Self:
        """Build from `table`; raise UnreadableSheet for a missing, unknown or unfit entry."""
        entries = {entry.name: entry for entry in fields(cls)}
        unknown = sorted(set(table) - set(entries))
        if unknown:
            raise UnreadableSheet(f"unknown entry {unknown[0]!r} in {cls.__name__.lower()}")
        required = {
            name
            for name, entry in entries.items()
            if entry.default is MISSING and entry.default_factory is MISSING
        }
        missing = sorted(required - set(table))
        if missing:
            raise UnreadableSheet(f"{cls.__name__.lower()} lacks the entry {missing[0]!r}")
        return cls(**{name: _entry(cls, entries[name].type, name, table[name]) for name in table})

    def to_table(self) -> dict[str, object]:
        """Return the plain table that `from_table` reads."""
        return asdict(self)


def _entry(owner: type, kind: object, name: str, value: object) -> object:
    """Return the value of an entry that came as `value`."""
    if not (isinstance(kind, type) and issubclass(kind, Plain)):
        return value
    if not isinstance(value, Mapping):
        raise UnreadableSheet(
            f"the {owner.__name__.lower()}'s {name} must be a table, not {value!r:.60}"
        )
    return kind.from_table(value)


def require_types(owner: str, thing: "DataclassInstance") -> None:
    """Raise UnreadableSheet unless each entry is of its type, and no number beyond LARGEST.

    Looks at `str`, `bool`, `int` and `float` entries; what is made of parts sees to them itself.
    """
    for name, is_fit in _checks_of(type(thing)):
        value = getattr(thing, name)
        if not is_fit(value):
            raise UnreadableSheet(f"{owner}'s {name} cannot be {value!r:.60}")


@cache
def _checks_of(kind: "type[DataclassInstance]") -> "tuple[tuple[str, _Check], ...]":
    """Return which entries of `kind` are looked at, and by what: a sheet has thousands of rows."""
    return tuple(
        (entry.name, _CHECKS[entry.type](entry.name))
        for entry in fields(kind)
        if entry.type in _CHECKS
    )


def _number(name: str) -> "_Check":
    largest = LARGEST.get(name, LARGEST.get(name.rpartition("_")[2], _LARGEST_OF_OTHERS))

    def is_fit(value: object) -> bool:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return False  # True is an int to Python, and no figure of anything
        return abs(value) <= largest

    return is_fit


def _whole_number(name: str) -> "_Check":
    is_number = _number(name)
    return lambda value: isinstance(value, int) and is_number(value)


def _is_text(value: object) -> bool:
    if not isinstance(value, str):
        return False
    try:
        value.encode()
    except UnicodeEncodeError:  # half of a surrogate pair: no file and no logbook takes it
        return False
    return True


_Check = Callable[[object], bool]
_CHECKS: Final[Mapping[object, Callable[[str], _Check]]] = {  # by an entry's type, for its name
    str: lambda _name: _is_text,
    bool: lambda _name: lambda value: isinstance(value, bool),
    int: _whole_number,
    float: _number,
}


def require_positive(name: str, value: object) -> None:
    """Raise UnreadableSheet unless `value` is a number above zero, and not next to nothing."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < math.inf:
        raise UnreadableSheet(f"{name} must be a number above zero, not {value!r:.60}")
    if value < SMALLEST:
        raise UnreadableSheet(f"{name} cannot be as small as {value!r}")
