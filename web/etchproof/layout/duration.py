"""How long a card takes to etch, before its job is written."""

from etchpath.machine import Machine
from etchpath.writer.span_row import row_moves, travel_of
from etchproof.card import Card
from etchproof.layout.etching import span_rows


def etching_time_s(card: Card) -> float:
    """Return what the motion model says of all rows of `card`, without the ways between them."""
    moves = [row_moves(row, card.head, is_register_corrected=False) for row in span_rows(card)]
    return float(travel_of(moves, Machine.of_head(card.head)).seconds.sum())


def in_words(duration_s: float) -> str:
    """Return a duration as a person says it."""
    minutes = round(duration_s / 60)
    if minutes < 90:
        return f"{max(1, minutes)} minutes"
    return f"{duration_s / 3600:.1f} hours"
