"""One line of G-code, read without knowing the machine's state: words, and what is wrong."""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from etchpractice.firmware.firmware import Firmware

LETTER_MISSING, BAD_NUMBER, NEGATIVE, TOO_LONG = 1, 2, 4, 11
UNSUPPORTED, TWO_OF_A_GROUP, NOT_WHOLE, TWO_AXIS_CODES, WORD_TWICE, LINE_NUMBER = (
    20, 21, 23, 24, 25, 27,
)  # fmt: skip

_DIGITS_USED: Final = 8
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_VALUE_LETTERS: Final = frozenset("FIJKLNPRSTXYZ")
_NEVER_NEGATIVE: Final = frozenset("FNPST")

# A code is ten times its number: G38.2 is 382. The group of each, by name.
G_GROUPS: Final[dict[int, str]] = {
    **dict.fromkeys((0, 10, 20, 30, 382, 383, 384, 385, 800), "motion"),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((900, 910), "distance"),
    911: "arc distance",
    **dict.fromkeys((930, 940), "feed mode"),
    **dict.fromkeys((200, 210), "units"),
    400: "cutter",
    **dict.fromkeys((431, 490), "tool length"),
    **dict.fromkeys((540, 550, 560, 570, 580, 590), "offsets"),
    610: "path",
    **dict.fromkeys((40, 100, 280, 281, 300, 301, 530, 920, 921), "once"),
}
M_GROUPS: Final[dict[int, str]] = {
    **dict.fromkeys((0, 1, 2, 30), "stopping"),
    **dict.fromkeys((3, 4, 5), "beam"),
    **dict.fromkeys((8, 9), "coolant"),
    6: "tool",
}
_NO_DECIMALS: Final = frozenset((4, 10, 28, 30, 43, 61, 92))  # G28.5 is unknown, G1.5 not whole
_TAKES_AXES: Final = frozenset((0, 10, 20, 30, 382, 383, 384, 385, 100, 280, 300, 431, 920))
_HUNDREDTHS_PER_CODE: Final = 10


@dataclass(frozen=True, slots=True)
class Line:
    """A line's words; `error` is 0 or the number it is refused with whatever the state.

    `simple` holds x, y, z, S and F of a line that has no other words, None for an absent one.
    `raw` is the line as it came, comments, blanks and small letters included.
    """

    text: str
    raw: str = ""
    error: int = 0
    g: tuple[tuple[str, int], ...] = ()
    m: tuple[tuple[str, int], ...] = ()
    words: tuple[tuple[str, float], ...] = ()
    simple: tuple[float | None, ...] | None = None
    has_axis: bool = False

    @property
    def word_count(self) -> int:
        """How many words it has."""
        return len(self.g) + len(self.m) + len(self.words)


class _Refused(Exception):
    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


def significant(raw: bytes, firmware: Firmware) -> str:
    """Return what the controller keeps of a line: no comments, no blanks, upper case."""
    kept: list[str] = []
    dropped = firmware.dropped_characters
    closing = ""
    for character in raw.decode("latin-1"):
        if closing:
            closing = "" if character == closing else closing
        elif character == "(":
            closing = ")"
        elif character == ";":
            break
        elif character > " " and character not in dropped and (character != "/" or kept):
            kept.append(character.upper())
    return "".join(kept)


@lru_cache(maxsize=8192)
def read_line(raw: bytes, firmware: Firmware) -> Line:
    """Read one line as `firmware` does, its line end taken off."""
    text = significant(raw, firmware)
    if (
        length := len(raw) if firmware.has_raw_line_limit else len(text)
    ) >= firmware.line_characters:
        if length > firmware.line_characters:
            return Line(text, error=TOO_LONG)
        if firmware.misreads_longest_line:
            return Line(text, error=TWO_OF_A_GROUP)
    if not text or text[0] == "$":
        return Line(text, raw.decode("latin-1"))
    try:
        return _words(text, firmware)
    except _Refused as refused:
        return Line(text, error=refused.code)


def _words(text: str, firmware: Firmware) -> Line:
    g: dict[str, int] = {}
    m: dict[str, int] = {}
    values: dict[str, float] = {}
    at = 0
    while at < len(text):
        letter = text[at]
        if not "A" <= letter <= "Z":
            raise _Refused(LETTER_MISSING)
        match = _NUMBER.match(text, at + 1)
        if match is None:
            raise _Refused(BAD_NUMBER)
        at = match.end()
        value = read_number(match.group(), counts_leading_zeros=firmware.counts_leading_zeros)
        if letter in "GM":
            _note_code(letter, value, g if letter == "G" else m, firmware)
        else:
            _note_value(letter, value, values, firmware)
    if values.get("N", 0) > firmware.highest_line_number:
        raise _Refused(LINE_NUMBER)
    return Line(
        text,
        g=tuple(g.items()),
        m=tuple(m.items()),
        words=tuple(values.items()),
        simple=_simple(g, m, values),
        has_axis=not values.keys().isdisjoint("XYZ"),
    )


def _simple(
    g: dict[str, int], m: dict[str, int], values: dict[str, float]
) -> tuple[float | None, ...] | None:
    if g or m or not values or not set(values) <= set("XYZSF"):
        return None
    return tuple(values.get(letter) for letter in "XYZSF")


def read_number(text: str, *, counts_leading_zeros: bool = True) -> float:
    """Return a number as the controller takes it: eight digits count, no exponent."""
    sign = text[:1] if text[:1] in "+-" else ""
    whole, _, decimals = text.lstrip("+-").partition(".")
    if not counts_leading_zeros:
        whole = whole.lstrip("0")
    if len(whole) + len(decimals) <= _DIGITS_USED:
        return float(text)
    if len(whole) >= _DIGITS_USED:
        return float(sign + whole[:_DIGITS_USED] + "0" * (len(whole) - _DIGITS_USED))
    zeros = len(decimals) - len(decimals.lstrip("0"))
    uncounted = 0 if whole or counts_leading_zeros else zeros
    return float(f"{sign}{whole or '0'}.{decimals[: uncounted + _DIGITS_USED - len(whole)]}")


def _note_code(letter: str, value: float, codes: dict[str, int], firmware: Firmware) -> None:
    hundredths = round(value * 100)
    is_whole = not hundredths % 100
    if letter == "M" and not is_whole:
        raise _Refused(NOT_WHOLE)
    code = hundredths // (_HUNDREDTHS_PER_CODE if letter == "G" else 100)
    groups = G_GROUPS if letter == "G" else M_GROUPS
    group = groups.get(code) or firmware.extra_codes.get(letter, {}).get(code)
    if group is None or (letter == "G" and hundredths % _HUNDREDTHS_PER_CODE):
        number = hundredths // 100
        is_decimal_wrong = not is_whole and number * 10 in groups and number not in _NO_DECIMALS
        raise _Refused(NOT_WHOLE if is_decimal_wrong else UNSUPPORTED)
    if (
        letter == "G"
        and code in _TAKES_AXES
        and any(used in _TAKES_AXES for used in codes.values())
    ):
        raise _Refused(TWO_AXIS_CODES)
    if group in codes:
        raise _Refused(TWO_OF_A_GROUP)
    codes[group] = code


def _note_value(letter: str, value: float, values: dict[str, float], firmware: Firmware) -> None:
    if letter not in _VALUE_LETTERS and letter not in firmware.extra_value_letters:
        raise _Refused(UNSUPPORTED)
    if letter in values:
        raise _Refused(WORD_TWICE)
    if value < 0 and letter in _NEVER_NEGATIVE:
        raise _Refused(NEGATIVE)
    values[letter] = value
