"""TOML that people write: whatever is wrong with it is one error, which names the line or key."""

import re
import tomllib
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from typing import Final

from etchwire.errors import UnreadableToml

# What TOML 1.0.0 promises to hold ("Integer"); anything larger has to be refused.
_WHOLE_NUMBERS: Final = range(-(2**63), 2**63)
_DEEPEST: Final = 32  # tables in tables: our files have four
_MANY_DIGITS: Final = re.compile(r"[0-9][0-9_]{4000,}")  # Python itself takes no more than 4300
_AT: Final = re.compile(r"(.*) \(at line (\d+), column (\d+)\)")
_HINT: Final = "perhaps a quote or a bracket is missing"

_Place = tuple[str, ...]


def nearest(name: str, names: Sequence[str]) -> str:
    """Return a hint at the known name that `name` was probably meant to be."""
    near = get_close_matches(name, names, n=1, cutoff=0.5)
    return f"Did you mean “{near[0]}”?" if near else f"Known here: {', '.join(names)}."


def read_toml(text: str) -> dict[str, object]:
    """Return the tables in `text`; raise UnreadableToml, whose message is a clause about “it”."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UnreadableToml(_where_it_is_wrong(error, text)) from error
    except RecursionError as error:
        raise UnreadableToml(f"it has brackets in brackets without end; {_HINT}") from error
    except ValueError as error:
        raise UnreadableToml(_where_it_is_too_long(text)) from error
    for place, value in _values(tables):
        if len(place) > _DEEPEST:
            raise UnreadableToml(f"“{_named(place)}…” has tables in tables without end")
        if isinstance(value, int) and value not in _WHOLE_NUMBERS:
            raise UnreadableToml(f"“{_named(place)}” is too large for a whole number (64 bits)")
    return tables


def _values(tables: dict[str, object]) -> Iterator[tuple[_Place, object]]:
    """Yield every value and table with the keys that lead to it, no deeper than is looked at."""
    waiting: list[tuple[_Place, object]] = [((), tables)]
    while waiting:
        place, value = waiting.pop()
        yield place, value
        if len(place) > _DEEPEST:
            continue
        if isinstance(value, dict):
            waiting += (((*place, key), inner) for key, inner in value.items())
        elif isinstance(value, list):
            waiting += (((*place, f"[{n}]"), inner) for n, inner in enumerate(value, 1))


def _named(place: _Place) -> str:
    return ".".join(place[:4])


def _where_it_is_wrong(error: Exception, text: str) -> str:
    at = _AT.fullmatch(str(error))
    if at is not None:
        return f"it is not in order at line {at[2]}, column {at[3]}: {at[1]}; {_HINT}"
    said = str(error).removesuffix(" (at end of document)")
    return f"it is not in order up to its end, line {len(text.splitlines())}: {said}; {_HINT}"


def _where_it_is_too_long(text: str) -> str:
    found = _MANY_DIGITS.search(text)
    before, digits = (text[: found.start()], len(found[0])) if found else (text, 0)
    line = before.count("\n") + 1
    return f"it is not in order at line {line}: a number of {digits} digits is too long"
