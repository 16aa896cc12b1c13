"""Letters and numbers of a whole block at once, found with array arithmetic."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Flags, Floats

Indices = NDArray[np.intp]

_USED_DIGITS: Final = 8  # the firmware uses no more: others count as zeros, or not behind the dot
_MOST_ZEROS: Final = 40  # behind eight digits; more than any number that is taken has
_POWERS: Final = 10.0 ** np.arange(_MOST_ZEROS + 1)

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


@dataclass(frozen=True, slots=True)
class Words:
    """Words in the order of the text: letter (its code), line within the block, number."""

    letter: NDArray[np.uint8]
    line: Indices
    number: Floats

    def __len__(self) -> int:
        return len(self.letter)

    def by_letter(self) -> dict[str, "Words"]:
        """Return the words of each letter that there is, in the order of the text."""
        present = np.flatnonzero(np.bincount(self.letter, minlength=1)).tolist()
        return {chr(letter): self._only(self.letter == letter) for letter in present}

    def _only(self, places: Flags) -> "Words":
        return Words(self.letter[places], self.line[places], self.number[places])


def split_words(code: bytes, ends: Indices, skipped: Flags) -> tuple[Words, Flags]:
    """Return the words of the lines of `code`, and which lines are not letter-number pairs.

    Neither those lines nor the `skipped` ones yield words. `ends` are the places of the line
    feeds; the last character of `code` is one.
    """
    marks = _Marks(np.frombuffer(code, np.uint8))
    is_unreadable = marks.unreadable_lines(len(ends))
    unread = is_unreadable | skipped
    is_word = marks.kind == _LETTER
    if unread.any():
        is_word &= ~unread[marks.line]  # the mark before the text is no letter
    return Words(
        marks.character[is_word], marks.line[is_word], marks.numbers(is_word)
    ), is_unreadable


class _Marks:
    """The characters between which numbers stand, and what stands behind each.

    The first mark is a line's end before the text, on line -1.
    """

    def __init__(self, text: NDArray[np.uint8]) -> None:
        kinds = _CLASS[text]
        is_mark = kinds >= _LETTER
        places = np.flatnonzero(is_mark)
        mark_of = np.cumsum(is_mark, dtype=np.int32)  # the mark before a place that is none
        dots, signs = np.flatnonzero(kinds == _DOT), np.flatnonzero(kinds == _SIGN)
        nexts = np.append(places, len(text))  # behind each mark, where the next one stands
        self.character = np.append(np.uint8(ord("\n")), text[places])
        self.kind = np.append(np.uint8(_END), kinds[places])
        is_end = self.kind == _END
        self.line = np.cumsum(is_end) - is_end - 1
        self._dotted, self._signed = mark_of[dots], mark_of[signs]
        self._is_inside = kinds[signs - 1] != _LETTER  # of each sign
        self._negative = self._signed[text[signs] == ord("-")]
        self._lengths = np.diff(nexts, prepend=-1) - 1
        count = len(nexts)
        others = np.bincount(self._dotted, minlength=count)
        others += np.bincount(self._signed, minlength=count)
        self._digits = self._lengths - others
        self._whole_digits = self._digits.copy()
        self._whole_digits[self._dotted] -= nexts[self._dotted] - dots - 1
        self._digit_values = text[kinds == _DIGIT] - np.uint8(ord("0"))

    def unreadable_lines(self, count: int) -> Flags:
        """Return in which of `count` lines letters and numbers do not alternate properly."""
        is_bad = self._digits < 1
        is_bad[self._signed[self._is_inside]] = True
        is_bad[self._dotted[1:][self._dotted[1:] == self._dotted[:-1]]] = True
        is_bad |= self.kind == _OTHER
        is_end = self.kind == _END
        is_unreadable = np.zeros(count + 1, dtype=bool)  # one more for what the last end is before
        is_unreadable[self.line[is_bad & ~is_end]] = True
        is_unreadable[self.line[is_end & (self._lengths > 0)] + 1] = True
        return is_unreadable[:count]

    def numbers(self, places: Flags) -> Floats:
        """Return the numbers behind the marks at `places`, as the firmware reads them."""
        kept = np.minimum(self._digits[places], _USED_DIGITS)
        firsts = (np.cumsum(self._digits) - self._digits)[places]
        values = np.zeros(len(kept), dtype=np.int64)
        for place in range(kept.max(initial=0)):
            digits = self._digit_values.take(firsts + place, mode="clip")
            values = np.where(kept > place, values * 10 + digits, values)
        zeros = self._whole_digits[places] - kept  # below nought: decimals
        # Whole numbers and powers of ten are exact here, so one division rounds as it should.
        numbers: Floats = values / _POWERS[np.maximum(-zeros, 0)]
        if (zeros > 0).any():
            numbers *= _POWERS[np.clip(zeros, 0, _MOST_ZEROS)]
        is_negative = np.zeros(len(self.kind), dtype=bool)
        is_negative[self._negative] = True
        np.negative(numbers, out=numbers, where=is_negative[places])
        return numbers
