"""One method of the daemon's socket: what it takes, and who may call it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, get_origin

from etchwire.errors import UnfitParameters
from etchwire.plain import FURTHEST_MM

LARGEST: Final = 2**53  # beyond it JSON's readers disagree about whole numbers


class Right(StrEnum):
    """What a caller must be allowed to do."""

    OBSERVE = "observe"
    OPERATE = "operate"


class _Required:
    def __repr__(self) -> str:
        return "required"


REQUIRED: Final = _Required()


@dataclass(frozen=True, slots=True)
class Number:
    """A whole number that a method takes, and what it is when it is not given."""

    name: str
    otherwise: int | _Required | None = REQUIRED

    def value_in(self, params: Mapping[str, Any]) -> int | None:
        """Return the number given, or its stand-in; raise UnfitParameters."""
        value = params.get(self.name, self.otherwise)
        if isinstance(value, _Required):
            raise UnfitParameters("refused", f"the parameter {self.name!r} is missing")
        if value is None and self.otherwise is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= LARGEST:
            raise UnfitParameters(
                "refused", f"{self.name!r} must be a whole number from 0 on, not {value!r:.40}"
            )
        return value

    def __str__(self) -> str:
        """Return how the table shows it."""
        if self.otherwise is REQUIRED:
            return self.name
        return f"{self.name} = {'null' if self.otherwise is None else self.otherwise}"


@dataclass(frozen=True, slots=True)
class Length:
    """A length in mm that a method takes, of either sign."""

    name: str
    otherwise: _Required = REQUIRED

    def value_in(self, params: Mapping[str, Any]) -> float:
        """Return the length given; raise UnfitParameters."""
        value = params.get(self.name, REQUIRED)
        if isinstance(value, _Required):
            raise UnfitParameters("refused", f"the parameter {self.name!r} is missing")
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not is_number or not -FURTHEST_MM <= value <= FURTHEST_MM:
            raise UnfitParameters(
                "refused", f"{self.name!r} must be a length in mm, not {value!r:.40}"
            )
        return float(value)

    def __str__(self) -> str:
        """Return how the table shows it."""
        return self.name


@dataclass(frozen=True, slots=True)
class Word:
    """A parameter of another kind, and what it is when it is not given."""

    name: str
    kind: type[str] | type[bool] | type[dict[str, Any]] | type[list[str]]
    otherwise: Any = REQUIRED

    def value_in(self, params: Mapping[str, Any]) -> Any:
        """Return what was given, or its stand-in; raise UnfitParameters."""
        value = params.get(self.name, self.otherwise)
        if isinstance(value, _Required):
            raise UnfitParameters("refused", f"the parameter {self.name!r} is missing")
        is_fit = isinstance(value, get_origin(self.kind) or self.kind)
        if not is_fit or (isinstance(value, list) and not all(isinstance(v, str) for v in value)):
            said = f"{self.name!r} must be {_KINDS[self.kind]}, not {value!r:.40}"
            raise UnfitParameters("refused", said)
        return value

    def __str__(self) -> str:
        """Return how the table shows it."""
        if self.otherwise is REQUIRED:
            return self.name
        return f"{self.name} = {json.dumps(self.otherwise)}"


_KINDS: Final[Mapping[Any, str]] = {
    str: "a text",
    bool: "true or false",
    dict[str, Any]: "a table",
    list[str]: "a list of texts",
}


@dataclass(frozen=True, slots=True)
class Method:
    """One line of the table.

    `is_at_once`: answered ahead of everything else the caller waits for. `files`: how many open
    file descriptors come along.
    """

    name: str
    right: Right
    text: str
    parameters: tuple[Number | Length | Word, ...] = ()
    is_at_once: bool = False
    files: tuple[str, ...] = ()

    def fit(self, params: Mapping[str, Any]) -> dict[str, Any]:
        """Return the parameters complete and of their types; raise UnfitParameters."""
        unknown = sorted(set(params) - {parameter.name for parameter in self.parameters})
        if unknown:
            raise UnfitParameters("refused", f"{self.name} takes no parameter {unknown[0]!r:.40}")
        return {parameter.name: parameter.value_in(params) for parameter in self.parameters}
