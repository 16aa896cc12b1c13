"""Letters and numbers of a whole block at once, found with array arithmetic."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

# The firmware drops decimals beyond its eighth digit, which changes no place by a micrometre;
# numbers too long for exact arithmetic here go to the slow reader.
MOST_DIGITS: Final = 15

_DIGIT, _SIGN, _DOT, _LETTER, _END, _OTHER = range(6)


def _classes() -> NDArray[np.uint8]:
    table = np.full(256, _OTHER, dtype=np.uint8)
    for characters, kind in (
        (b"0123456789", _DIGIT),
        (b"+-", _SIGN),
        (b".", _DOT),
        (bytes(range(ord("A"), ord("Z") + 1)), _LETTER),
        (b"\n", _END),
    ):
        table[list(characters)] = kind
    return table


_CLASS: Final = _classes()
_NUMBERS_ONLY: Final = bytes(b if _CLASS[b] <= _DOT else ord(" ") for b in range(256))


@dataclass(frozen=True, slots=True)
class Words:
    """Words in the order of the text: letter (its code), line within the block, number."""

    letter: NDArray[np.uint8]
    line: Indices
    number: NDArray[np.float64]

    def only(self, wanted: Flags) -> "Words":
        """Return the words at the places of the mask."""
        return Words(self.letter[wanted], self.line[wanted], self.number[wanted])

    def without(self, lines: Flags) -> "Words":
        """Return the words that are not on `lines`, a mask over lines."""
        return self.only(~lines[self.line]) if lines.any() else self


def split_words(code: bytes, ends: Indices, skipped: Flags) -> tuple[Words, Flags]:
    """Return the words of the lines of `code`, and which lines are not letter-number pairs.

    Neither those lines nor the `skipped` ones yield words. `ends` are the places of the line
    feeds; the last character of `code` is one.
    """
    text = np.frombuffer(code, np.uint8)
    kinds = _CLASS[text]
    marks = np.flatnonzero(kinds >= _LETTER)
    mark_kinds = kinds[marks]
    is_end = mark_kinds == _END
    line_of_mark = np.cumsum(is_end) - is_end
    is_odd = _odd_lines(kinds, marks, line_of_mark, len(ends))
    unread = is_odd | skipped
    if unread.any():
        sizes = np.diff(ends, prepend=-1)
        text = np.where(np.repeat(unread, sizes), np.uint8(ord(" ")), text)
    numbers = np.fromstring(text.tobytes().translate(_NUMBERS_ONLY), sep=" ")
    is_word = ~is_end & ~unread[line_of_mark]
    return Words(text[marks[is_word]], line_of_mark[is_word], numbers), is_odd


def _odd_lines(
    kinds: NDArray[np.uint8], marks: Indices, line_of_mark: Indices, count: int
) -> Flags:
    """Return the lines in which letters and numbers do not alternate properly."""
    mark_of = np.cumsum(kinds >= _LETTER, dtype=np.int32) - 1  # the mark at or before a place
    mark_kinds = kinds[marks]
    is_odd = np.zeros(count, dtype=bool)
    if marks[0] != 0:
        is_odd[0] = True
    is_odd[line_of_mark[mark_kinds == _OTHER]] = True
    digits = np.diff(marks, append=marks[-1] + 1) - 1  # what stands behind each mark
    after_end = (mark_kinds == _END) & (digits > 0)
    is_odd[line_of_mark[after_end] + 1] = True
    dots, signs = np.flatnonzero(kinds == _DOT), np.flatnonzero(kinds == _SIGN)
    dot_marks, sign_marks = mark_of[dots], mark_of[signs]
    is_second = np.flatnonzero(dot_marks[1:] == dot_marks[:-1])
    is_odd[_lines_of(line_of_mark, dot_marks[is_second])] = True
    is_inside = kinds[signs - 1] != _LETTER
    is_odd[_lines_of(line_of_mark, sign_marks[is_inside])] = True
    digits[dot_marks] -= 1
    digits[sign_marks] -= 1
    is_bad_number = (mark_kinds == _LETTER) & ((digits < 1) | (digits > MOST_DIGITS))
    is_odd[line_of_mark[is_bad_number]] = True
    return is_odd


def _lines_of(line_of_mark: Indices, marks: NDArray[np.int32]) -> Indices:
    """Return the lines of `marks`; what stands before the first mark is on the first line."""
    return line_of_mark[np.maximum(marks, 0)]
