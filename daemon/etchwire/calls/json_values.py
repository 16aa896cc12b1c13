"""Types into JSON values and back: the one place where what crosses the socket is converted.

msgspec converts and checks, but reads and writes no bytes here: its writer says null for NaN, its
reader takes 2⁶⁴ and the last of two equal keys and fails on deep nesting. `framing` refuses those.

What it knows of a type it works out at the type's first use, and shows other threads half of it
meanwhile: two that met a type together ended the process (a null pointer in `convert`, seen with
0.22.0 in a page that had just started). So a first use has the lock to itself.
"""

from collections.abc import Callable, Mapping
from threading import Lock
from typing import Any, Final, TypeVar

import msgspec

from etchwire.calls.time_line import EVENT_TYPES, TimeLineEvent, UnknownEvent
from etchwire.errors import MalformedMessage

_Value = TypeVar("_Value")

_known: Final[set[object]] = set()  # types worked out to the last of those in them
_first_use: Final = Lock()


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
        return _converted(value, kind, _event)
    except msgspec.ValidationError as error:
        raise MalformedMessage(str(error)) from None


def _event(kind: type, value: object) -> TimeLineEvent:
    """Return a happening as what its own word for its kind says it is."""
    if kind is not TimeLineEvent or not isinstance(value, Mapping):
        raise TypeError(f"{kind.__name__} is no type of the wire")
    return _converted(value, EVENT_TYPES.get(str(value.get("kind")), UnknownEvent))


def _converted(
    value: object, kind: type[_Value], dec_hook: Callable[[type, Any], Any] | None = None
) -> _Value:
    if kind not in _known:
        with _first_use:
            msgspec.json.Decoder(kind)
            _known.add(kind)
    return msgspec.convert(value, kind, dec_hook=dec_hook)
