"""One line that is not of the plain kind, word by word, with the controller's own objections."""

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from etchpath.language.dialect import (
    ABSOLUTE,
    BEAM_OFF,
    G_CODES,
    LARGEST_NUMBER,
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

_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_WORD: Final = re.compile(f"([A-Z])({_NUMBER})")
_ALL_WORDS: Final = re.compile(f"(?:[A-Z]{_NUMBER})*+")
_CHECKSUM: Final = re.compile(r"\*\d+$")
_USED_DIGITS: Final = 8  # the firmware uses no more; further decimals are dropped
_WHOLE_WITHIN: Final = 1e-6
_TABLES: Final = {"G": G_CODES, "M": M_CODES}
_ONLY_WITH_CODES: Final = frozenset("KLP")
_NUMBER_LETTERS: Final = (*(number.name for number in Number if number.name in VALUE_LETTERS), "")
_MODES: Final = len(Mode)
_ENDS: Final = int(Event.ENDS)
_PROGRAM_END_MODES: Final = (1, ABSOLUTE, NOT_SET, BEAM_OFF)  # in the order of Mode


class Reading(NamedTuple):
    """What one line gives, as Lines holds it; `remarks` are kinds of finding.

    A refused line gives nothing and one remark, which says why.
    """

    numbers: Sequence[float]
    modes: Sequence[int]
    events: int
    remarks: Sequence[str]


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
    if _ALL_WORDS.fullmatch(text) is None:
        raise _Refused(_why_unreadable(text))
    codes: list[tuple[float, Code]] = []
    values: dict[str, float] = {}
    for letter, digits in _WORD.findall(text):
        number = float(digits) if len(digits) <= _USED_DIGITS else _shortened(digits)
        if letter in _TABLES:
            codes.append((number, _code(letter, number)))
        elif letter not in VALUE_LETTERS:
            raise _Refused("extruder word" if letter == "E" else "unknown word")
        elif abs(number) > LARGEST_NUMBER:
            raise _Refused("number too large")
        elif letter in values:
            raise _Refused("repeated word")
        else:
            values[letter] = number
    _require_values(codes, values)
    return _reading(codes, values)


def _why_unreadable(text: str) -> str:
    kinds = {"$": "setting", "[": "setting", "%": "program mark"}
    return kinds.get(text[0], "checksum" if _CHECKSUM.search(text) else "unreadable word")


def _code(letter: str, number: float) -> Code:
    tenfold = round(number * 10)
    code = _TABLES[letter].get(tenfold)
    if code is None or abs(number * 10 - tenfold) > _WHOLE_WITHIN:
        raise _Refused(REFUSED_CODES.get((letter, tenfold), "unsupported code"))
    return code


def _shortened(text: str) -> float:
    """Return the number as the firmware keeps it: digits after the eighth count as zeros."""
    digits = 0
    kept = []
    for character in text:
        digits += character.isdigit()
        kept.append("0" if character.isdigit() and digits > _USED_DIGITS else character)
    return float("".join(kept))


def _require_values(codes: Sequence[tuple[float, Code]], values: Mapping[str, float]) -> None:
    """Refuse what is below zero, out of range, missing, unused or wanted twice."""
    if any(value < 0 and letter in NEVER_NEGATIVE for letter, value in values.items()):
        raise _Refused("negative value")
    if values.get("N", 0) > MAX_LINE_NUMBER:
        raise _Refused("line number")
    once = _require_codes(codes, values) if codes else None
    spare = values.keys() & _ONLY_WITH_CODES
    if spare and once != 10 and not (once == 4 and spare == {"P"}):
        raise _Refused("unused word")


def _require_codes(
    codes: Sequence[tuple[float, Code]], values: Mapping[str, float]
) -> float | None:
    """Refuse codes at odds with each other or without their words; return the one-time code."""
    groups = {code.group: number for number, code in codes}
    if len(groups) != len(codes):
        raise _Refused("two of a group")
    users = [code for _, code in codes if code.uses_axes]
    if users and (len(users) > 1 or "motion" in groups):
        raise _Refused("two uses of the axes")
    if any(code.event & Event.SETS_ORIGIN for code in users) and values.keys().isdisjoint("XYZ"):
        raise _Refused("no axis word")
    once = groups.get("once")
    if once == 4 and "P" not in values:
        raise _Refused("missing value")
    return once


def _reading(codes: Sequence[tuple[float, Code]], values: Mapping[str, float]) -> Reading:
    given = values.get
    numbers = [given(letter, _NOT_GIVEN) for letter in _NUMBER_LETTERS]
    modes = [NOT_SET] * _MODES
    events = 0
    remarks = []
    for number, code in codes:
        events |= code.event
        if code.remark:
            remarks.append(code.remark)
        if code.mode is not None:
            modes[code.mode] = round(number)
        elif code.group == "stopping" and code.event & _ENDS:
            modes = list(_PROGRAM_END_MODES)
        elif code.group == "once" and number == 4:
            numbers[-1] = values["P"]
    if "Z" in values:
        remarks.append("z word" if values["Z"] == 0 else "z move")
    if "T" in values:
        remarks.append("tool word")
    return Reading(numbers, modes, events, remarks)
