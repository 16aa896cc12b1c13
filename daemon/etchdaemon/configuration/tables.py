"""Reading one table of a configuration: what was not asked for, or is unfit, becomes a fault."""

from collections.abc import Collection, Mapping
from math import inf

from etchdaemon.configuration.faults import Fault, Reason
from etchwire.toml_text import nearest


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
        """Return the table called `name`, an empty one where there is none."""
        value = self._value(name, {})
        if not isinstance(value, Mapping):
            self.fault(Reason.NOT_A_TABLE, name, f"“{name}” has to be a table, not {value!r}.")
            value = {}
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

    def whole_number(self, name: str, *, most: int) -> int | None:
        """Return a whole number from 0 on, or None where there is none or it is unfit."""
        value = self._value(name, None)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            said = f"“{name}” has to be a whole number, not {value!r}."
            self.fault(Reason.WRONG_KIND, name, said)
            return None
        if not 0 <= value <= most:
            said = f"“{name}” has to be from 0 to {most}, not {value}."
            self.fault(Reason.OUT_OF_RANGE, name, said)
            return None
        return value

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
