"""JSON as another program must be able to take it, read without a surprise.

Python's own reader takes NaN, lets 1e999 become infinity and keeps half of a surrogate pair;
none of them is JSON that another program must take, so none passes here.
"""

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

from etchwire.errors import MalformedMessage

# What has no fixed entries: notes, details, a sheet as it was kept. Whoever reads one narrows it.
JsonTable = Mapping[str, Any]
JsonList = Sequence[Any]
DEEPEST_LEVELS: Final = 32


def read_json(data: bytes, *, called: str = "the message") -> object:
    """Return the value that `data` holds; raise MalformedMessage, which says what is wrong."""
    try:
        value = json.loads(data.decode("utf-8"), parse_constant=_refuse, parse_float=_finite)
        if b"\\u" in data:
            json.dumps(value, ensure_ascii=False).encode()
    except RecursionError:
        raise MalformedMessage(f"{called} is nested too deeply") from None
    except UnicodeError:
        raise MalformedMessage(f"{called} is not text in UTF-8") from None
    except ValueError as error:
        raise MalformedMessage(f"{called} is not JSON: {error}") from None
    _refuse_deep(value, called)
    return value


def _refuse(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _finite(text: str) -> float:
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise ValueError(f"{text[:20]} is more than a number can hold")
    return value


def _refuse_deep(value: object, called: str) -> None:
    level = [value]
    for _ in range(DEEPEST_LEVELS):
        level = [inner for outer in level for inner in _parts(outer)]
        if not level:
            return
    raise MalformedMessage(f"{called} is nested more than {DEEPEST_LEVELS} deep")


def _parts(value: object) -> list[object]:
    if isinstance(value, dict):
        return list(value.values())
    return value if isinstance(value, list) else []
