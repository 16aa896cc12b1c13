"""One line that is not of the plain kind, word by word, with the controller's own objections."""

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from etchpath.language.dialect import (
    G_CODES,
    M_CODES,
    MAX_LINE_NUMBER,
    NEVER_NEGATIVE,
    NOT_SET,
    REFUSED_CODES,
    VALUE_LETTERS,
    Code,
    Event,
    Mode,
    Number,
)

_WORD: Final = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
_USED_DIGITS: Final = 8  # the firmware uses no more; further decimals are dropped
_WHOLE_WITHIN: Final = 1e-6
_PROGRAM_END_MODES: Final = {Mode.MOTION: 1, Mode.DISTANCE: 90, Mode.SPINDLE: 5}


class Reading(NamedTuple):
    """What one line gives, as Lines holds it; `remarks` are kinds of finding.

    A refused line gives nothing and one remark, which says why.
    """

    numbers: tuple[float, ...]
    modes: tuple[int, ...]
    events: int
    remarks: tuple[str, ...]


class _Refused(Exception):
    """The controller would refuse the line; the argument is the kind of finding."""


_NOT_GIVEN: Final = float("nan")
_NOTHING: Final = ((_NOT_GIVEN,) * len(Number), (NOT_SET,) * len(Mode), 0)


@lru_cache(maxsize=4096)
def read_line(text: str) -> Reading:
    """Read one line of upper-case letters without blanks and comments."""
    try:
        return _read(text)
    except _Refused as refused:
        return Reading(*_NOTHING, (refused.args[0],))


def _read(text: str) -> Reading:
    if text[:1] in {"$", "["}:
        raise _Refused("setting")
    if text[:1] == "%":
        raise _Refused("program mark")
    words = _WORD.findall(text)
    if sum(len(letter) + len(number) for letter, number in words) != len(text):
        raise _Refused("unreadable word")
    codes = _codes(words)
    values = _values(words)
    _require_values(codes, values)
    return _reading(codes, values)


def _codes(words: Sequence[tuple[str, str]]) -> list[tuple[float, Code]]:
    """Return the G and M words with what they mean; refuse unknown and conflicting ones."""
    found: list[tuple[float, Code]] = []
    for letter, text in words:
        if letter not in "GM":
            continue
        number = _number(text)
        tenfold = round(number * 10)
        code = (G_CODES if letter == "G" else M_CODES).get(tenfold)
        if code is None or abs(number * 10 - tenfold) > _WHOLE_WITHIN:
            raise _Refused(REFUSED_CODES.get((letter, tenfold), "unsupported code"))
        found.append((number, code))
    groups = [code.group for _, code in found]
    if len(set(groups)) != len(groups):
        raise _Refused("two of a group")
    return found


def _values(words: Sequence[tuple[str, str]]) -> dict[str, float]:
    values: dict[str, float] = {}
    for letter, text in words:
        if letter in "GM":
            continue
        if letter not in VALUE_LETTERS:
            raise _Refused("unknown word")
        if letter in values:
            raise _Refused("repeated word")
        values[letter] = _number(text)
        if letter in NEVER_NEGATIVE and values[letter] < 0:
            raise _Refused("negative value")
    if values.get("N", 0) > MAX_LINE_NUMBER:
        raise _Refused("line number")
    return values


def _number(text: str) -> float:
    if len(text) <= _USED_DIGITS:
        return float(text)
    digits = 0
    kept = []
    for character in text:
        digits += character.isdigit()
        kept.append("0" if character.isdigit() and digits > _USED_DIGITS else character)
    return float("".join(kept))


def _require_values(codes: Sequence[tuple[float, Code]], values: dict[str, float]) -> None:
    """Refuse a code without its value, a value without its code, and two uses of the axes."""
    groups = {code.group: number for number, code in codes}
    once = groups.get("once")
    users = [code for _, code in codes if code.uses_axes]
    if users and (len(users) > 1 or groups.get("motion") is not None):
        raise _Refused("two uses of the axes")
    has_axes = not values.keys().isdisjoint("XYZ")
    if any(code.event & Event.SETS_ORIGIN for code in users) and not has_axes:
        raise _Refused("no axis word")
    if once == 4 and "P" not in values:
        raise _Refused("missing value")
    spare = values.keys() & set("PLK")
    if once == 4:
        spare -= {"P"}
    if spare and once != 10:
        raise _Refused("unused word")


def _reading(codes: Sequence[tuple[float, Code]], values: dict[str, float]) -> Reading:
    numbers = [values.get(number.name, _NOT_GIVEN) for number in list(Number)[:-1]]
    modes = [NOT_SET] * len(Mode)
    events = Event(0)
    remarks = [code.remark for _, code in codes if code.remark]
    dwell_s = _NOT_GIVEN
    for number, code in codes:
        events |= code.event
        if code.event & Event.ENDS:
            for mode, value in _PROGRAM_END_MODES.items():
                modes[mode] = value
        if code.mode is not None:
            modes[code.mode] = round(number)
        if code.group == "once" and number == 4:
            dwell_s = values["P"]
    if "Z" in values:
        remarks.append("z word" if values["Z"] == 0 else "z move")
    if "T" in values:
        remarks.append("tool word")
    return Reading((*numbers, dwell_s), tuple(modes), int(events), tuple(remarks))
