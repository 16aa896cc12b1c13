"""Blocks of G-code to columns: every line of a block at once."""

import re
from typing import Final

import numpy as np

from etchpath.arrays import Flags
from etchpath.language.blocks import Block
from etchpath.language.grammar import interpret
from etchpath.language.lines import Indices, Lines
from etchpath.language.words import split_words
from etchpath.machine import Machine
from etchpath.tidying import COMMENT

# Commands wherever they stand, of the 8-bit firmware or the 32-bit one (0x03, 0x05, 0x19).
REAL_TIME: Final = bytes(
    (*b"?!~", *(b for b in range(1, 0x20) if b not in b"\t\n\v\f\r"), *range(0x80, 0x100))
)
_COMMENT_KINDS: Final = re.compile(rb";[^\n]*|\([^()\n]*\)|(\([^)\n]*)")  # a group for the odd
_CHECKSUM: Final = re.compile(rb"\*\d+$", re.MULTILINE)
_DROPPED: Final = bytes(b for b in (*range(0x21), ord("/")) if b != ord("\n")) + REAL_TIME
_UPPER: Final = bytes(range(256)).upper()


def read_block(block: Block, machine: Machine) -> Lines:
    """Read every line of `block` as the controller of `machine` would."""
    lines = Lines.blank(block)
    code = _significant(lines)
    ends = np.flatnonzero(np.frombuffer(code, np.uint8) == ord("\n"))
    too_long = _too_long(lines, ends, machine)
    words, is_unreadable = split_words(code, ends, too_long)
    _remark_unreadable(lines, code, ends, is_unreadable & ~too_long)
    interpret(lines, words)
    return lines


def _significant(lines: Lines) -> bytes:
    """Return the text as it is when the controller looks at it: no blanks, no comments."""
    text = lines.block.text
    lines.remark("real-time character", _lines_holding(REAL_TIME, text))
    if b"(" in text or b";" in text:
        lines.remark("comment", _lines_holding(b"(;", text))
        lines.remark("odd comment", _lines_with_odd_comments(text))
        text = COMMENT.sub(b"", text)
    lines.remark("block delete", _lines_holding(b"/", text))
    return text.translate(_UPPER, _DROPPED)


def _lines_holding(characters: bytes, text: bytes) -> Indices:
    """Return the lines of `text` that hold any of `characters`."""
    if len(text.translate(None, characters)) == len(text):
        return np.empty(0, dtype=np.intp)
    is_wanted = np.isin(np.arange(256), list(characters))
    return _lines_at(np.flatnonzero(is_wanted[np.frombuffer(text, np.uint8)]), text)


def _lines_at(places: Indices | list[int], text: bytes) -> Indices:
    """Return the lines of `text` on which its `places` are, each once."""
    ends = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n"))
    found: Indices = np.unique(np.searchsorted(ends, np.asarray(places, dtype=np.intp)))
    return found


def _lines_with_odd_comments(text: bytes) -> Indices:
    """Return the lines with a comment that is not closed, or opened again inside itself."""
    if b"(" not in text:
        return np.empty(0, dtype=np.intp)
    odd = [match.start() for match in _COMMENT_KINDS.finditer(text) if match.group(1)]
    return _lines_at(odd, text)


def _too_long(lines: Lines, ends: Indices, machine: Machine) -> Flags:
    """Return which lines the controller refuses, or its receive buffer cannot take, for length."""
    raw_bytes = lines.sizes_bytes()
    counted = raw_bytes if machine.line_limit_counts_all else np.diff(ends, prepend=-1)
    is_too_long = counted - 1 > machine.line_limit
    lines.remark("line too long", is_too_long)
    does_not_fit = (raw_bytes > machine.receive_bytes - 1) & ~is_too_long
    lines.remark("line fills the buffer", does_not_fit)
    return is_too_long | does_not_fit


def _remark_unreadable(lines: Lines, code: bytes, ends: Indices, is_unreadable: Flags) -> None:
    """Say of the lines that are no words what they seem to be instead."""
    if not is_unreadable.any():
        return
    firsts = np.frombuffer(code, np.uint8)[np.append(0, ends[:-1] + 1)]
    sums = [match.start() for match in _CHECKSUM.finditer(code)] if b"*" in code else []
    has_checksum = np.zeros(len(ends), dtype=bool)
    has_checksum[_lines_at(sums, code)] = True
    kinds = (
        ("setting", (firsts == ord("$")) | (firsts == ord("["))),
        ("program mark", firsts == ord("%")),
        ("checksum", has_checksum),
        ("unreadable word", np.ones(len(ends), dtype=bool)),
    )
    is_named = ~is_unreadable
    for kind, where in kinds:
        lines.refuse(kind, where, is_named)
