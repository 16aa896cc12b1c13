"""Types into JSON values and back: the one place where what crosses the socket is converted.

msgspec converts and checks, but reads and writes no bytes here: its writer says null for NaN, its
reader takes 2⁶⁴ and the last of two equal keys and fails on deep nesting. `framing` refuses those.
"""

from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec

from etchwire.calls.time_line import EVENT_TYPES, TimeLineEvent, UnknownEvent
from etchwire.errors import MalformedMessage

_Value = TypeVar("_Value")


def to_json_value(value: object) -> Any:
    """Return `value` as JSON values: objects in the order of their type's entries.

    What is UNSET is left out.
    """
    return msgspec.to_builtins(value)


def from_json_value(value: object, kind: type[_Value]) -> _Value:
    """Return `value` as a `kind`; raise MalformedMessage, which says what is amiss and where.

    Entries that `kind` does not know are passed over: a newer peer may say more.
    """
    try:
        return msgspec.convert(value, kind, dec_hook=_event)
    except msgspec.ValidationError as error:
        raise MalformedMessage(str(error)) from None


def _event(kind: type, value: object) -> TimeLineEvent:
    """Return a happening as what its own word for its kind says it is."""
    if kind is not TimeLineEvent or not isinstance(value, Mapping):
        raise TypeError(f"{kind.__name__} is no type of the wire")
    return msgspec.convert(value, EVENT_TYPES.get(str(value.get("kind")), UnknownEvent))
