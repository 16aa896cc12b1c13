"""Reading one table of a configuration: what was not asked for, or is unfit, becomes a fault."""

from collections.abc import Callable, Collection, Mapping
from math import inf
from pathlib import Path
from typing import Final, TypeVar

from etchwire.configuration.faults import Fault, FaultyConfiguration, Reason
from etchwire.toml_text import nearest

Value = TypeVar("Value")

_LARGEST_PORT: Final = 65535
_READABLE_BY_ALL: Final = 0o004


def read_tables(values: Mapping[str, object], read: Callable[["Table"], Value]) -> Value:
    """Return what `read` makes of the table of a whole file; raise FaultyConfiguration."""
    faults: list[Fault] = []
    value = read(Table(values, "", faults))
    if faults:
        raise FaultyConfiguration(faults)
    return value


class Table:
    """A TOML table under inspection; faults gather in a list shared by all tables of a file."""

    def __init__(self, values: Mapping[str, object], where: str, faults: list[Fault]) -> None:
        self._values = values
        self._where = where
        self._faults = faults
        self._names_read: set[str] = set()

    def __contains__(self, name: str) -> bool:
        """Return whether `name` stands in the table."""
        return name in self._values

    @property
    def values(self) -> dict[str, object]:
        """Everything that stands in the table, as it stands there."""
        return dict(self._values)

    def table(self, name: str) -> "Table":
        """Return the table called `name`, an empty one where there is none.

        What is no table is one fault: what such a table would lack is not told besides.
        """
        value = self._value(name, {})
        if not isinstance(value, Mapping):
            self.fault(Reason.NOT_A_TABLE, name, f"“{name}” has to be a table, not {value!r}.")
            return Table({}, self._path(name), [])
        return Table(value, self._path(name), self._faults)

    def tables(self, names: Collection[str]) -> dict[str, "Table"]:
        """Return the tables in this one by name; each must be among `names`."""
        found = {name: self.table(name) for name in names if name in self._values}
        self._names_read |= set(names)
        return found

    def number(
        self, name: str, otherwise: float, *, least: float = 0.0, most: float = inf
    ) -> float:
        """Return a number within bounds, or `otherwise`."""
        value = self._value(name, otherwise)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            self.fault(Reason.WRONG_KIND, name, f"“{name}” has to be a number, not {value!r}.")
            return otherwise
        if not least <= value <= most or value == inf:
            limits = f"at least {least:g}" if most == inf else f"from {least:g} to {most:g}"
            self.fault(Reason.OUT_OF_RANGE, name, f"“{name}” has to be {limits}, not {value:g}.")
            return otherwise
        return float(value)

    def optional_number(self, name: str, *, least: float, most: float) -> float | None:
        """Return a number within bounds, or None where there is none."""
        if name not in self._values:
            self._names_read.add(name)
            return None
        return self.number(name, least, least=least, most=most)

    def whole_number(self, name: str, *, least: int = 0, most: int) -> int | None:
        """Return a whole number within bounds, or None where there is none or it is unfit."""
        value = self._value(name, None)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            said = f"“{name}” has to be a whole number, not {value!r}."
            self.fault(Reason.WRONG_KIND, name, said)
            return None
        if not least <= value <= most:
            said = f"“{name}” has to be from {least} to {most}, not {value}."
            self.fault(Reason.OUT_OF_RANGE, name, said)
            return None
        return value

    def port(self, name: str, otherwise: int, *, least: int = 1) -> int:
        """Return the number of a network port, or `otherwise`."""
        port = self.whole_number(name, least=least, most=_LARGEST_PORT)
        return otherwise if port is None else port

    def text(self, name: str, otherwise: str = "", *, among: Collection[str] = ()) -> str:
        """Return a text, one of `among` where that is given."""
        value = self._value(name, otherwise)
        if not isinstance(value, str):
            self.fault(Reason.WRONG_KIND, name, f"“{name}” has to be a text, not {value!r}.")
            return otherwise
        if among and value not in among:
            said = f"“{name}” has to be one of {', '.join(sorted(among))}, not “{value}”."
            self.fault(Reason.OUT_OF_RANGE, name, said)
            return otherwise
        return value

    def texts(self, name: str, *, among: Collection[str] = ()) -> tuple[str, ...]:
        """Return a list of texts, each one of `among` where that is given; empty without one."""
        value = self._value(name, [])
        if not isinstance(value, list) or not all(isinstance(text, str) for text in value):
            said = f"“{name}” has to be a list of texts, not {value!r}."
            self.fault(Reason.WRONG_KIND, name, said)
            return ()
        for text in value:
            if among and text not in among:
                said = f"“{name}” may list {', '.join(among)}, not “{text}”."
                self.fault(Reason.OUT_OF_RANGE, name, said)
        return tuple(value)

    def secret(self, name: str, folder: Path, *, may_all_read: bool = False) -> str | None:
        """Return what stands in the file that the entry names, seen from `folder`; None without."""
        named = self.text(name)
        if not named:
            return None
        path = folder / named
        try:
            if path.stat().st_mode & _READABLE_BY_ALL and not may_all_read:
                said = f"{path} can be read by everybody. Run: chmod o-r {path}"
                self.fault(Reason.UNFIT_FILE_NAMED, name, said)
            return path.read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            said = f"{path} cannot be read: {getattr(error, 'strerror', error)}."
            self.fault(Reason.UNFIT_FILE_NAMED, name, said)
            return None

    def require(self, *names: str) -> None:
        """Name each of the entries that is not there, or empty."""
        for name in names:
            if self._values.get(name) in (None, "", []):
                self.fault(Reason.MISSING, name, f"“{name}” is missing.")

    def is_set(self, name: str, *, otherwise: bool) -> bool:
        """Return true or false."""
        value = self._value(name, otherwise)
        if isinstance(value, bool):
            return value
        self.fault(Reason.WRONG_KIND, name, f"“{name}” has to be true or false, not {value!r}.")
        return otherwise

    def accept(self, name: str) -> None:
        """Note that `name` belongs here and is read elsewhere."""
        self._names_read.add(name)

    def done(self) -> None:
        """Name every entry that nobody has asked for."""
        for name in self._values:
            if name not in self._names_read:
                said = f"“{name}” is not known here. {nearest(name, sorted(self._names_read))}"
                self.fault(Reason.UNKNOWN_NAME, name, said)

    def fault(self, reason: Reason, name: str, sentence: str) -> None:
        """Note a fault of the entry `name`."""
        self._faults.append(Fault(reason, self._path(name), sentence))

    def _value(self, name: str, otherwise: object) -> object:
        self._names_read.add(name)
        return self._values.get(name, otherwise)

    def _path(self, name: str) -> str:
        return f"{self._where}.{name}".strip(".")
