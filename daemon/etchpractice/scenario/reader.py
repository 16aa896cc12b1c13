"""Tables of a scenario, taken apart entry by entry, every fault noted with its place."""

from collections.abc import Mapping
from typing import TypeVar

from etchwire.toml_text import nearest

Taken = TypeVar("Taken")
Default = TypeVar("Default")
Figure = TypeVar("Figure", int, float)


class Reader:
    """Takes entries out of a table one by one, and notes every fault with its place."""

    def __init__(self, table: Mapping[str, object], where: str, faults: list[str]) -> None:
        self._left = dict(table)
        self._names_taken: list[str] = []
        self.where = where
        self.faults = faults

    def complain(self, said: str) -> None:
        """Note a fault."""
        self.faults.append(f"{self.where}: {said}")

    def take(
        self, name: str, kind: type[Taken], default: Default, expected: str
    ) -> Taken | Default:
        """Take an entry; `default` stands for none, and for one of another kind, a fault."""
        self._names_taken.append(name)
        if name not in self._left:
            return default
        value = self._left.pop(name)
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if isinstance(value, kind) and not _is_lying(value, kind):
            return value
        self.complain(f"“{name}” must be {expected}, not {value!r}.")
        return default

    def number(self, name: str, default: Default, *, least: float = 0.0) -> float | Default:
        """Take a number."""
        return self._at_least(least, name, self.take(name, float, None, "a number"), default)

    def whole_number(self, name: str, default: Default, *, least: float = 0.0) -> int | Default:
        """Take a whole number."""
        return self._at_least(least, name, self.take(name, int, None, "a whole number"), default)

    def _at_least(
        self, least: float, name: str, figure: Figure | None, default: Default
    ) -> Figure | Default:
        if figure is None:
            return default
        if least <= figure < float("inf"):
            return figure
        self.complain(f"“{name}” must be at least {least:g}, not {figure:g}.")
        return default

    def choice(self, name: str, default: str, choices: tuple[str, ...]) -> str:
        """Take one of `choices`."""
        value = self.take(name, str, default, "a text")
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

    def rest(self) -> dict[str, object]:
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
