"""What the words of a block's lines give, and for which of them the controller refuses a line."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from etchpath.arrays import Flags
from etchpath.language.dialect import (
    G_CODES,
    GROUPS,
    LARGEST_NUMBER,
    M_CODES,
    MAX_LINE_NUMBER,
    NEVER_NEGATIVE,
    PROGRAM_END_MODES,
    REFUSED_CODES,
    VALUE_LETTERS,
    Code,
    Event,
    Number,
)
from etchpath.language.lines import Indices, Lines
from etchpath.language.words import Words

_WHOLE_WITHIN: Final = 1e-6
_CODES: Final = {"G": G_CODES, "M": M_CODES}
_ROWS: Final = {number.name: number for number in Number if number.name in VALUE_LETTERS}
_IS_NEVER_NEGATIVE: Final = np.isin(np.arange(256), [ord(letter) for letter in NEVER_NEGATIVE])


def interpret(lines: Lines, words: Words) -> None:
    """Put what `words` give into `lines`.

    A line that the controller would refuse gives nothing, and is remarked under the first
    reason for it, in the order of the rules here.
    """
    block = _Block(lines, words)
    block.refuse_codes()
    block.refuse_words()
    block.refuse_groups()
    block.refuse_companions()
    block.scatter()
    lines.drop(block.refused)
    block.remark()


@dataclass(frozen=True, slots=True)
class _Found:
    """A code that stands in the block: what it sets its mode to, and the lines it is on."""

    code: Code
    whole_number: int
    lines: Indices


class _Block:
    """The words of a block, by letter and by code, and which lines are refused so far."""

    def __init__(self, lines: Lines, words: Words) -> None:
        self._lines = lines
        self._words = words
        self._letters = words.by_letter()
        self._codes: dict[str, _Found] = {}  # that the controller knows, by name: G1, M5
        self.refused = np.zeros(len(lines), dtype=bool)

    def refuse_codes(self) -> None:
        """Refuse the codes that the controller does not know, and note the others."""
        unknown = []
        for letter, table in _CODES.items():
            if letter not in self._letters:
                continue
            words = self._letters[letter]
            tenfold = np.rint(words.number * 10)
            is_whole = np.abs(words.number * 10 - tenfold) <= _WHOLE_WITHIN
            is_unknown = np.ones(len(words), dtype=bool)
            for number, code in table.items():
                is_this = is_whole & (tenfold == number)
                if is_this.any():
                    is_unknown &= ~is_this
                    found = _Found(code, number // 10, words.line[is_this])
                    self._codes[f"{letter}{number / 10:g}"] = found
            for number, kind in REFUSED_CODES[letter].items():
                self._refuse(kind, words.line[is_unknown & (tenfold == number)])
            unknown.append(words.line[is_unknown])
        for places in unknown:
            self._refuse("unsupported code", places)

    def refuse_words(self) -> None:
        """Refuse unknown and repeated letters, and numbers that the controller does not take."""
        words, letters = self._words, self._letters
        if "E" in letters:
            self._refuse("extruder word", letters["E"].line)
        for letter in letters:
            if letter not in VALUE_LETTERS and letter not in _CODES:
                self._refuse("unknown word", letters[letter].line)
        self._refuse("number too large", words.line[np.abs(words.number) > LARGEST_NUMBER])
        for letter in letters:
            if letter in VALUE_LETTERS:
                self._refuse("repeated word", _twice(letters[letter].line))
        below = np.flatnonzero(words.number < 0)
        below = below[_IS_NEVER_NEGATIVE[words.letter[below]]]
        self._refuse("negative value", words.line[below])
        if "N" in letters:
            is_too_large = letters["N"].number > MAX_LINE_NUMBER
            self._refuse("line number", letters["N"].line[is_too_large])

    def refuse_groups(self) -> None:
        """Refuse codes that contradict each other or want the same words."""
        count = len(self._lines)
        in_group = {group: np.zeros(count, np.intp) for group in GROUPS}
        users = np.zeros(count, np.intp)
        for found in self._codes.values():
            here = np.bincount(found.lines, minlength=count)
            in_group[found.code.group] += here
            users += here * found.code.uses_axes
        for counts in in_group.values():
            self._refuse("two of a group", counts > 1)
        is_contested = (users > 1) | ((users > 0) & (in_group["motion"] > 0))
        self._refuse("two uses of the axes", is_contested)

    def refuse_companions(self) -> None:
        """Refuse codes without the words they need, and words without the code they belong to."""
        self._refuse("no axis word", self._with_code("G92") & ~self._with_letter("XYZ"))
        dwells, has_seconds = self._with_code("G4"), self._with_letter("P")
        self._refuse("missing value", dwells & ~has_seconds)
        others = self._with_letter("KL")
        is_spare = (others | has_seconds) & ~self._with_code("G10")
        self._refuse("unused word", is_spare & ~(dwells & ~others))

    def scatter(self) -> None:
        """Put numbers, modes, events and counts of words into the columns of their lines."""
        lines, letters = self._lines, self._letters
        lines.words[:] = np.bincount(self._words.line, minlength=len(lines))
        for letter, row in _ROWS.items():
            if letter in letters:
                lines.numbers[row, letters[letter].line] = letters[letter].number
        if "P" in letters:
            seconds = letters["P"]
            dwells = self._with_code("G4")[seconds.line]
            lines.numbers[Number.DWELL_S, seconds.line[dwells]] = seconds.number[dwells]
        for found in self._codes.values():
            lines.events[found.lines] |= found.code.event
            if found.code.mode is not None:
                lines.modes[found.code.mode, found.lines] = found.whole_number
        ended = np.flatnonzero(lines.does(Event.ENDS))
        for mode, number in PROGRAM_END_MODES.items():  # whatever else stands in the line
            lines.modes[mode, ended] = number

    def remark(self) -> None:
        """Remark on what the lines do that are not refused."""
        kept = ~self.refused
        for found in self._codes.values():
            if found.code.remark is not None:
                self._lines.remark(found.code.remark, found.lines[kept[found.lines]])
        if "Z" in self._letters:
            z = self._letters["Z"]
            self._lines.remark("z word", z.line[kept[z.line] & (z.number == 0)])
            self._lines.remark("z move", z.line[kept[z.line] & (z.number != 0)])
        if "T" in self._letters:
            tools = self._letters["T"].line
            self._lines.remark("tool word", tools[kept[tools]])

    def _refuse(self, kind: str, where: Flags | Indices) -> None:
        self._lines.refuse(kind, where, self.refused)

    def _with_code(self, name: str) -> Flags:
        is_here = np.zeros(len(self._lines), dtype=bool)
        if name in self._codes:
            is_here[self._codes[name].lines] = True
        return is_here

    def _with_letter(self, letters: str) -> Flags:
        """Return the lines with any of `letters`."""
        is_here = np.zeros(len(self._lines), dtype=bool)
        for letter in letters:
            if letter in self._letters:
                is_here[self._letters[letter].line] = True
        return is_here


def _twice(lines: Indices) -> Indices:
    """Return the lines that stand more than once among `lines`, which rise."""
    again: Indices = lines[1:][lines[1:] == lines[:-1]]
    return again
