"""G-code read one word at a time: what the reader of whole blocks is held to."""

import math
import re
from typing import NamedTuple

from etchpath.language.dialect import (
    ABSOLUTE,
    BEAM_OFF,
    G_CODES,
    LARGEST_NUMBER,
    M_CODES,
    MAX_LINE_NUMBER,
    NOT_SET,
    REFUSED_CODES,
    VALUE_LETTERS,
    Event,
    Mode,
    Number,
)

WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
NOTHING = ([math.nan] * len(Number), [NOT_SET] * len(Mode), 0)
TABLES = {"G": G_CODES, "M": M_CODES}
REASONS = (
    *("tool change", "mist", "unsupported code", "extruder word", "unknown word"),
    *("number too large", "repeated word", "negative value", "line number"),
    *("two of a group", "two uses of the axes", "no axis word", "missing value", "unused word"),
)


def significant(line):
    """Return what the controller looks at of the bytes of a line: upper case, nothing else."""
    code = re.sub(rb"\([^)]*\)?|;.*", b"", line, flags=re.DOTALL)
    return "".join(chr(b) for b in code if 0x20 < b < 0x80 and b not in b"/?!~").upper()


class Reading(NamedTuple):
    """What a line gives; `remarks` are kinds of finding, of a refused line one: the reason."""

    numbers: list
    modes: list
    events: int
    remarks: list


def read_line(text):
    """Read one line of upper-case letters without blanks and comments."""
    words = WORD.findall(text)
    if "".join(letter + digits for letter, digits in words) != text:
        return Reading(*NOTHING, [why_unreadable(text)])
    numbers = [(letter, number_of(digits)) for letter, digits in words]
    values = {letter: number for letter, number in numbers if letter in VALUE_LETTERS}
    codes = [(letter, *code_of(letter, number)) for letter, number in numbers if letter in TABLES]
    reasons = {reason for *_, reason in codes if reason} | faults_of(numbers)
    known = {f"{letter}{tenfold / 10:g}": code for letter, tenfold, code, _ in codes if code}
    if not reasons:
        reasons = conflicts(codes, known, values.keys())
    if reasons:
        return Reading(*NOTHING, [min(reasons, key=REASONS.index)])
    return reading(codes, values)


def why_unreadable(text):
    kinds = {"$": "setting", "[": "setting", "%": "program mark"}
    return kinds.get(text[0], "checksum" if re.search(r"\*\d+$", text) else "unreadable word")


def number_of(digits):
    """The firmware keeps eight digits: others before the dot count as zeros, behind it not."""
    seen = 0
    kept = ""
    for character in digits:
        seen += character.isdigit()
        kept += "0" if character.isdigit() and seen > 8 else character
    return float(kept)


def code_of(letter, number):
    """Return ten times the code, the code and why it is refused: one of the two is None."""
    tenfold = round(max(-1e300, min(number * 10, 1e300)))
    code = TABLES[letter].get(tenfold)
    if code is None or abs(number * 10 - tenfold) > 1e-6:
        return tenfold, None, REFUSED_CODES[letter].get(tenfold, "unsupported code")
    return tenfold, code, None


def faults_of(numbers):
    """Return what is wrong with words, each by itself or as one of the same letter."""
    reasons = set()
    seen = set()
    for letter, number in numbers:
        if letter in TABLES:
            continue
        if letter not in VALUE_LETTERS:
            reasons.add("extruder word" if letter == "E" else "unknown word")
        if abs(number) > LARGEST_NUMBER:
            reasons.add("number too large")
        if letter in seen and letter in VALUE_LETTERS:
            reasons.add("repeated word")
        seen.add(letter)
        if number < 0 and letter in "FNPST":
            reasons.add("negative value")
        if letter == "N" and number > MAX_LINE_NUMBER:
            reasons.add("line number")
    return reasons


def conflicts(codes, known, letters):
    """Return what is wrong with the codes of a line beside each other and beside its letters."""
    groups = [code.group for _, _, code, _ in codes]
    users = [code for _, _, code, _ in codes if code.uses_axes]
    spare = letters & {"K", "L", "P"}
    wrong = {
        "two of a group": len(set(groups)) < len(groups),
        "two uses of the axes": len(users) > 1 or (users and "motion" in groups),
        "no axis word": "G92" in known and not letters & {"X", "Y", "Z"},
        "missing value": "G4" in known and "P" not in letters,
        "unused word": spare and "G10" not in known and not ("G4" in known and spare == {"P"}),
    }
    return {reason for reason, is_so in wrong.items() if is_so}


def reading(codes, values):
    numbers = [values.get(number.name, math.nan) for number in Number]
    modes = [NOT_SET] * len(Mode)
    events = 0
    remarks = [code.remark for _, _, code, _ in codes if code.remark]
    for letter, tenfold, code, _ in codes:
        events |= code.event
        if code.mode is not None:
            modes[code.mode] = tenfold // 10
        if (letter, tenfold) == ("G", 40):
            numbers[Number.DWELL_S] = values["P"]
    if events & Event.ENDS:
        modes[Mode.MOTION], modes[Mode.DISTANCE], modes[Mode.SPINDLE] = 1, ABSOLUTE, BEAM_OFF
    if "Z" in values:
        remarks.append("z move" if values["Z"] else "z word")
    if "T" in values:
        remarks.append("tool word")
    return Reading(numbers, modes, events, remarks)
