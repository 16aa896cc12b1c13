"""Names and dates letter by letter, so that a person sees what a customer really wrote: pure."""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Final

PLAIN, DIGIT, UNUSUAL = "plain", "digit", "unusual"
_COMMON_MARKS: Final = frozenset(" .,-&'!?:/()+\n")


@dataclass(frozen=True, slots=True)
class Letters:
    """Letters of one kind in a row; `name` says what an unusual one is."""

    kind: str
    text: str
    name: str = ""


def marked(text: str) -> list[Letters]:
    """Return `text` in its order, parted into plain letters, digits and single unusual letters.

    Unusual is whatever is not on a plain keyboard: an accent, another script's look-alike, a
    letter that cannot be seen.
    """
    tidy = text.replace("\r\n", "\n")
    return [part for kind, run in groupby(tidy, _kind) for part in _parts(kind, "".join(run))]


def _kind(letter: str) -> str:
    if letter.isdigit():
        return DIGIT if letter.isascii() else UNUSUAL
    is_plain = letter in _COMMON_MARKS or (letter.isascii() and letter.isalpha())
    return PLAIN if is_plain else UNUSUAL


def _parts(kind: str, text: str) -> Iterator[Letters]:
    if kind != UNUSUAL:
        yield Letters(kind, text)
        return
    for letter in text:
        name = unicodedata.name(letter, f"U+{ord(letter):04X}").lower()
        yield Letters(kind, letter if letter.isprintable() else "□", name)
