"""What a call brings along: its parameters, held against the types that it states for them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, cast

from msgspec import NODEFAULT
from msgspec.structs import fields

from etchwire.calls.call import AnyCall, DurationS, LengthMm, OpenFile, WholeNumber
from etchwire.calls.catalogue import AssignedTile
from etchwire.calls.json_values import from_json_value
from etchwire.errors import MalformedMessage, Refused, UnfitParameters, UnreadableSheet
from etchwire.plain import Plain
from etchwire.transport.json_text import JsonTable

_WORDS: Final[Mapping[object, str]] = {
    WholeNumber: "a whole number from 0 on",
    WholeNumber | None: "a whole number from 0 on",
    LengthMm: "a length in mm",
    DurationS: "a number of seconds",
    str: "a text",
    bool: "true or false",
    tuple[str, ...]: "a list of texts",
    tuple[WholeNumber, ...]: "a list of whole numbers from 0 on",
    tuple[AssignedTile, ...]: "a list of tiles by their pockets",
    JsonTable: "a table",
}
_KNOWN: Final[dict[type[AnyCall], tuple["Parameter", ...]]] = {}


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of a call, and its stand-in where it is not given; NODEFAULT: it must be."""

    name: str
    kind: type
    otherwise: object

    def value_in(self, params: Mapping[str, object]) -> object:
        """Return what was given, or its stand-in; raise UnfitParameters, or Refused."""
        value = params.get(self.name, self.otherwise)
        if value is NODEFAULT:
            raise UnfitParameters("refused", f"the parameter {self.name!r} is missing")
        is_record = isinstance(self.kind, type) and issubclass(self.kind, Plain)
        kind = JsonTable if is_record else self.kind
        try:
            fit: object = from_json_value(value, kind)
        except MalformedMessage:
            words = _WORDS[kind]
            raise UnfitParameters(
                "refused", f"{self.name!r} must be {words}, not {value!r:.40}"
            ) from None
        return _record(self.kind, cast(JsonTable, fit)) if is_record else fit


def parameters_of(kind: type[AnyCall]) -> tuple[Parameter, ...]:
    """Return what a `kind` of call takes by name, in its order."""
    if kind not in _KNOWN:  # each call asks, beside a loop that must not wait
        _KNOWN[kind] = tuple(
            Parameter(one.name, one.type, one.default)
            for one in fields(kind)
            if one.type is not OpenFile
        )
    return _KNOWN[kind]


def fitting(kind: type[AnyCall], params: Mapping[str, object]) -> dict[str, object]:
    """Return the parameters complete and of their types; raise UnfitParameters, or Refused."""
    parameters = parameters_of(kind)
    unknown = sorted(set(params) - {parameter.name for parameter in parameters})
    if unknown:
        raise UnfitParameters("refused", f"{kind.method()} takes no parameter {unknown[0]!r:.40}")
    return {parameter.name: parameter.value_in(params) for parameter in parameters}


def made(kind: type[AnyCall], entries: Mapping[str, object]) -> AnyCall:
    """Return the `kind` of call that has these `entries`, which fit it."""
    make: Callable[..., AnyCall] = kind
    return make(**entries)


def _record(kind: type[Plain], table: JsonTable) -> Plain:
    """Return the record that came as `table`; raise Refused for one that makes no sense."""
    try:
        return kind.from_table(table)
    except UnreadableSheet as error:
        sentence = str(error)
        raise Refused("refused", f"{sentence[:1].upper()}{sentence[1:]}.") from error
