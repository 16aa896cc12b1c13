"""Blocks of G-code to columns: plain lines by the thousand at once, the others one by one.

A plain line has only words of the commonest letters, each once, with a short number. Whatever
else stands in a line, it goes to the slow reader, so the fast way need not know why.
"""

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpath.language.blocks import Block
from etchpath.language.dialect import (
    G_CODES,
    M_CODES,
    MAX_LINE_NUMBER,
    PLAIN_G,
    PLAIN_LETTERS,
    PLAIN_M,
    Number,
)
from etchpath.language.line import read_line
from etchpath.language.lines import Indices, Lines
from etchpath.language.words import Flags, Words, split_words
from etchpath.machine import Machine

Floats = NDArray[np.float64]

# Commands wherever they stand, of the 8-bit firmware or the 32-bit one (0x03, 0x05, 0x19).
REAL_TIME: Final = bytes(
    (*b"?!~", *(b for b in range(1, 0x20) if b not in b"\t\n\v\f\r"), *range(0x80, 0x100))
)
_COMMENT: Final = re.compile(rb"\([^)\n]*\)?|;[^\n]*")
_COMMENT_KINDS: Final = re.compile(rb";[^\n]*|\([^()\n]*\)|(\([^)\n]*)")  # a group for the odd
_DROPPED: Final = bytes(b for b in (*range(0x21), ord("/")) if b != ord("\n")) + REAL_TIME
_UPPER: Final = bytes(range(256)).upper()

_PLAIN_CODES: Final = {ord("G"): (PLAIN_G, G_CODES), ord("M"): (PLAIN_M, M_CODES)}
_NUMBERS: Final = {ord(number.name): number for number in list(Number)[:-1]}
_MOST_TENFOLD: Final = 1000
_UNKNOWN: Final = -1
_SETS_NONE: Final = {170: -2, 940: -3}  # G17 and G94 are groups of their own and set no Mode


def _plain_modes(letter: int) -> NDArray[np.int16]:
    """Return, by ten times the code, the mode that it sets."""
    plain, codes = _PLAIN_CODES[letter]
    table = np.full(_MOST_TENFOLD, _UNKNOWN, dtype=np.int16)
    for tenfold in plain:
        mode = codes[tenfold].mode
        table[tenfold] = _SETS_NONE[tenfold] if mode is None else mode.value
    return table


_MODE_OF: Final = {letter: _plain_modes(letter) for letter in _PLAIN_CODES}
_IS_PLAIN_LETTER: Final = np.isin(np.arange(256), list(PLAIN_LETTERS))


def read_block(block: Block, machine: Machine) -> Lines:
    """Read every line of `block` as the controller of `machine` would."""
    lines = Lines.blank(block)
    code = _significant(lines)
    ends = np.flatnonzero(np.frombuffer(code, np.uint8) == ord("\n"))
    too_long = _too_long(lines, ends, machine)
    words, is_odd = split_words(code, ends, too_long)
    is_odd |= _not_plain(words, len(lines))
    is_odd &= ~too_long
    _scatter(lines, words.without(is_odd))
    _read_odd_lines(lines, code, ends, np.flatnonzero(is_odd))
    return lines


def _significant(lines: Lines) -> bytes:
    """Return the text as it is when the controller looks at it: no blanks, no comments."""
    text = lines.block.text
    lines.remark("real-time character", _lines_holding(REAL_TIME, text))
    if b"(" in text or b";" in text:
        lines.remark("comment", _lines_holding(b"(;", text))
        lines.remark("odd comment", _lines_with_odd_comments(text))
        text = _COMMENT.sub(b"", text)
    lines.remark("block delete", _lines_holding(b"/", text))
    return text.translate(_UPPER, _DROPPED)


def _lines_holding(characters: bytes, text: bytes) -> Indices:
    """Return the lines of `text` that hold any of `characters`."""
    if len(text.translate(None, characters)) == len(text):
        return np.empty(0, dtype=np.intp)
    is_wanted = np.isin(np.arange(256), list(characters))
    letters = np.frombuffer(text, np.uint8)
    places = np.flatnonzero(is_wanted[letters])
    found: Indices = np.unique(np.searchsorted(np.flatnonzero(letters == ord("\n")), places))
    return found


def _lines_with_odd_comments(text: bytes) -> Indices:
    """Return the lines with a comment that is not closed, or opened again inside itself."""
    if b"(" not in text:
        return np.empty(0, dtype=np.intp)
    odd = [match.start() for match in _COMMENT_KINDS.finditer(text) if match.group(1)]
    ends = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n"))
    return np.unique(np.searchsorted(ends, np.array(odd, dtype=np.intp)))


def _too_long(lines: Lines, ends: Indices, machine: Machine) -> Flags:
    """Return which lines the controller refuses, or its receive buffer cannot take, for length."""
    raw_bytes = lines.sizes_bytes()
    counted = raw_bytes if machine.line_limit_counts_all else np.diff(ends, prepend=-1)
    is_too_long = counted - 1 > machine.line_limit
    lines.remark("line too long", is_too_long)
    does_not_fit = (raw_bytes > machine.receive_bytes - 1) & ~is_too_long
    lines.remark("line fills the buffer", does_not_fit)
    return is_too_long | does_not_fit


def _not_plain(words: Words, count: int) -> Flags:
    """Return the lines with a word that the fast way does not know, or with one word twice."""
    is_odd = np.zeros(count, dtype=bool)
    is_odd[words.line[~_IS_PLAIN_LETTER[words.letter]]] = True
    is_odd[words.line[(words.number < 0) & np.isin(words.letter, list(b"SFN"))]] = True
    is_line_number = words.letter == ord("N")
    is_odd[words.line[is_line_number & (words.number > MAX_LINE_NUMBER)]] = True
    is_odd[_twice(words.line[is_line_number])] = True
    for letter in _NUMBERS:
        is_odd[_twice(words.line[words.letter == letter])] = True
    for letter in _MODE_OF:
        some = words.only(words.letter == letter)
        modes = _modes(letter, some.number)
        is_odd[some.line[modes == _UNKNOWN]] = True
        for mode in np.unique(modes):
            is_odd[_twice(some.line[modes == mode])] = True
    return is_odd


def _twice(lines: Indices) -> Indices:
    again: Indices = lines[1:][lines[1:] == lines[:-1]]
    return again


def _modes(letter: int, numbers: Floats) -> NDArray[np.int16]:
    tenfold = np.rint(numbers * 10)
    is_code = (np.abs(numbers * 10 - tenfold) < 1e-6) & (tenfold >= 0) & (tenfold < _MOST_TENFOLD)
    modes = np.full(len(numbers), _UNKNOWN, dtype=np.int16)
    modes[is_code] = _MODE_OF[letter][tenfold[is_code].astype(np.intp)]
    return modes


def _scatter(lines: Lines, words: Words) -> None:
    """Put plain words into their columns."""
    for letter, number in _NUMBERS.items():
        some = words.letter == letter
        lines.numbers[number, words.line[some]] = words.number[some]
    for letter in _MODE_OF:
        some = words.letter == letter
        numbers, places = words.number[some], words.line[some]
        modes = _modes(letter, numbers)
        is_set = modes >= 0
        lines.modes[modes[is_set], places[is_set]] = numbers[is_set].astype(np.int16)


def _read_odd_lines(lines: Lines, code: bytes, ends: Indices, places: Indices) -> None:
    starts = np.append(0, ends[:-1] + 1)
    texts = [code[starts[place] : ends[place]].decode("latin-1") for place in places]
    if not texts:
        return
    readings = [read_line(text) for text in texts]
    lines.numbers[:, places] = np.array([reading.numbers for reading in readings]).T
    lines.modes[:, places] = np.array([reading.modes for reading in readings]).T
    lines.events[places] = [reading.events for reading in readings]
    remarks: dict[str, list[int]] = {}
    for place, reading in zip(places.tolist(), readings, strict=True):
        for kind in reading.remarks:
            remarks.setdefault(kind, []).append(place)
    for kind, found in remarks.items():
        lines.remark(kind, np.array(found, dtype=np.intp))
