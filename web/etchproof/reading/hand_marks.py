"""Marks by hand: what an eye, a fingernail, a scouring pad and raking light found.

A camera sees darkness; it does not see what rubs off or where the glaze is broken. So a mark by
hand overrules the camera.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from etchproof.card import FOCUS, Card
from etchproof.errors import UnreadableCard


class Mark(StrEnum):
    """What a person tapped on a cell."""

    TOO_LIGHT = "too light"
    GOOD = "good"
    RUBS_OFF = "rubs off"
    GLAZE_DAMAGED = "glaze damaged"
    COULD_NOT_TELL = "could not tell"  # whether it holds: the camera's word stands


WEDGE: Final = "wedge"  # a word of its own among the marks of a focus card
OTHER_WAY_ROUND: Final = "other way round"


def wedge_turned(table: Mapping[str, str], card: Card) -> bool:
    """Return whether a person said that a focus card's wedge lay the other way round."""
    return card.kind == FOCUS and table.get(WEDGE) == OTHER_WAY_ROUND


def marks_from_table(table: Mapping[str, str], card: Card) -> dict[str, Mark]:
    """Return the marks of a card's cells; raise UnreadableCard for another cell or word."""
    cells = card.cells()
    marks = {}
    for cell, word in table.items():
        if cell == WEDGE and wedge_turned(table, card):
            continue
        if cell not in cells:
            raise UnreadableCard(f"card {card.number} has no patch {cell}")
        try:
            marks[cell] = Mark(word)
        except ValueError as error:
            raise UnreadableCard(
                f"{word!r} is no mark: say one of {', '.join(mark.value for mark in Mark)}"
            ) from error
    return marks
