"""Tables of a scenario, taken apart entry by entry, every fault noted with its place."""

from collections.abc import Mapping
from typing import Any

from etchwire.toml_text import nearest


class Reader:
    """Takes entries out of a table one by one, and notes every fault with its place."""

    def __init__(self, table: Mapping[str, Any], where: str, faults: list[str]) -> None:
        self._left = dict(table)
        self._names_taken: list[str] = []
        self.where = where
        self.faults = faults

    def complain(self, said: str) -> None:
        """Note a fault."""
        self.faults.append(f"{self.where}: {said}")

    def take(self, name: str, kind: type, default: Any, expected: str) -> Any:
        """Take an entry; one of another kind is a fault, and `default` stands for it."""
        self._names_taken.append(name)
        value = self._left.pop(name, default)
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if value is None or (isinstance(value, kind) and not _is_lying(value, kind)):
            return value
        self.complain(f"“{name}” must be {expected}, not {value!r}.")
        return default

    def number(self, name: str, default: Any, *, kind: type = float, least: float = 0.0) -> Any:
        """Take a number."""
        value = self.take(name, kind, default, "a whole number" if kind is int else "a number")
        if value is not None and not least <= value < float("inf"):
            self.complain(f"“{name}” must be at least {least:g}, not {value:g}.")
            return default
        return value

    def choice(self, name: str, default: str, choices: tuple[str, ...]) -> str:
        """Take one of `choices`."""
        value = str(self.take(name, str, default, "a text"))
        if value not in choices:
            self.complain(f"“{name}” is {unknown(value, choices)}")
            return default
        return value

    def table(self, name: str) -> "Reader":
        """Take a table, empty where there is none."""
        return Reader(self.take(name, dict, {}, "a table"), f"[{name}]", self.faults)

    def tables(self, name: str) -> "list[Reader]":
        """Take an array of tables."""
        listed = self.take(name, list, [], f"written as [[{name}]]")
        if not all(isinstance(one, dict) for one in listed):
            self.complain(f"“{name}” must be written as [[{name}]].")
            return []
        return [
            Reader(one, f"{name} {number}", self.faults)
            for number, one in enumerate(listed, start=1)
        ]

    def rest(self) -> dict[str, Any]:
        """Return what has not been taken."""
        left, self._left = self._left, {}
        return left

    def done(self) -> None:
        """Complain of everything that has not been taken."""
        for name in self._left:
            self.complain(f"“{name}” is {unknown(name, tuple(self._names_taken))}")


def _is_lying(value: object, kind: type) -> bool:
    return isinstance(value, bool) and kind is not bool  # to Python a truth is a number


def unknown(name: str, names: tuple[str, ...]) -> str:
    """Return what is said of a name that nobody knows."""
    return f"not known. {nearest(name, names)}"
