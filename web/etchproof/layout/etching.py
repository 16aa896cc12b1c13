"""Cards as rows for the writer: which stretches burn, how fast, how strongly; and for how long."""

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchpath.machine import Machine
from etchpath.writer.raster import UM_PER_MM
from etchpath.writer.span_row import SpanRow, moves_of, travel_of
from etchproof.card import Area, Card, HairlinePair
from etchproof.errors import UnfitCard
from etchproof.layout.drawing import draw_card

_NO_FEED: Final = 0.0


@lru_cache(maxsize=2)
def span_rows(card: Card) -> tuple[SpanRow, ...]:
    """Return the rows of `card` that burn, from the top down.

    Kept for the last cards: their time, their writing and their reading ask for the same rows.
    """
    plain = _plain_rows(card)
    return tuple(sorted([*plain, *_hairline_rows(card)], key=lambda row: row.row))


def etching_time_s(card: Card) -> float:
    """Return what the motion model says of all rows of `card`, without the ways between them."""
    moves = moves_of(span_rows(card), card.head, is_register_corrected=False)
    return float(travel_of(moves, Machine.of_head(card.head)).seconds.sum())


def in_words(duration_s: float) -> str:
    """Return a duration as a person says it."""
    minutes = round(duration_s / 60)
    if minutes < 90:
        return f"{max(1, minutes)} minutes"
    return f"{duration_s / 3600:.1f} hours"


def s_word(card: Card, power_ratio: float) -> int:
    """Return a power as the controller's S word."""
    return max(1, round(power_ratio * card.head.max_s))


def _plain_rows(card: Card) -> Iterator[SpanRow]:
    powers, feeds = _settings(card)
    edges_um = np.rint(np.arange(card.columns + 1) * (card.spacing_mm * UM_PER_MM)).astype(np.int64)
    is_forward = True
    for row, begin, end in _stretches(powers):
        yield SpanRow(
            row=row,
            feed_mm_per_min=float(feeds[row]),
            begin_um=edges_um[begin],
            end_um=edges_um[end],
            s=powers[row, begin],
            is_forward=is_forward,
        )
        is_forward = is_forward != card.is_both_directions


def _settings(card: Card) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return each dot's S word, 0 where nothing burns, and each row's speed."""
    strongest = s_word(card, card.recipe.power_ratio)
    powers = np.where(draw_card(card), strongest, 0)
    feeds = np.full(card.rows, _NO_FEED)
    for area in (*(marker.area for marker in card.markers), *(label.area for label in card.labels)):
        _claim(feeds, area, card.recipe.feed_mm_per_min)
    for patch in card.patches:
        _claim(feeds, patch.area, patch.feed_mm_per_min)
        inside = powers[patch.area.rows, patch.area.columns]
        inside[inside > 0] = s_word(card, patch.power_ratio)
    powers[~_burnt_rows(card)] = 0
    for pair in card.hairlines:  # they do not lie on the dots: see below
        powers[pair.upper.rows] = powers[pair.lower.rows] = 0
    return powers, feeds


def _burnt_rows(card: Card) -> NDArray[np.bool_]:
    """Return which rows hold a line, where lines lie further apart than rows."""
    is_burnt = np.zeros(card.rows, dtype=np.bool_)
    is_burnt[:: card.rows_apart] = True
    for patch in card.patches:
        rows = is_burnt[patch.area.rows]
        rows[:] = False
        rows[patch.rows_apart // 2 :: patch.rows_apart] = True
    return is_burnt


def _claim(feeds: NDArray[np.float64], area: Area, feed_mm_per_min: float) -> None:
    here = feeds[area.rows]
    if ((here != _NO_FEED) & (here != feed_mm_per_min)).any():
        raise UnfitCard("two speeds were laid into one row of the card, which has only one")
    here[:] = feed_mm_per_min


def _stretches(
    powers: NDArray[np.int64],
) -> Iterator[tuple[int, NDArray[np.intp], NDArray[np.intp]]]:
    """Yield each row that burns, and where each stretch of one power begins and ends in it."""
    beside = np.pad(powers, ((0, 0), (1, 1)))
    rows, columns = np.nonzero(beside[:, 1:] != beside[:, :-1])
    # Where a stretch ends another begins, or what is bare; a row's last change begins what is bare.
    is_begun = beside[rows, columns + 1] > 0
    begin, end = columns[is_begun], columns[1:][is_begun[:-1]]
    burning, first = np.unique(rows[is_begun], return_index=True)
    bounds = [*first.tolist(), len(begin)]
    for row, (one, next_one) in zip(burning.tolist(), pairwise(bounds), strict=True):
        yield row, begin[one:next_one], end[one:next_one]


def _hairline_rows(card: Card) -> Iterator[SpanRow]:
    bands: dict[Area, list[HairlinePair]] = {}
    for pair in card.hairlines:
        band = Area(pair.upper.top, 0, pair.lower.bottom, card.columns)
        bands.setdefault(band, []).append(pair)
    for pairs in bands.values():
        first = pairs[0]
        yield from _hairlines(card, pairs, first.upper, is_forward=True)
        yield from _hairlines(card, pairs, first.lower, is_forward=False)


def _hairlines(
    card: Card, pairs: list[HairlinePair], area: Area, *, is_forward: bool
) -> Iterator[SpanRow]:
    shift = np.array([0.0 if is_forward else pair.offset_mm for pair in pairs])
    begin_mm = np.array([pair.left_mm for pair in pairs]) + shift
    width_mm = np.array([pair.width_mm for pair in pairs])
    begin_um = np.rint(begin_mm * UM_PER_MM).astype(np.int64)
    for row in range(area.top, area.bottom):
        yield SpanRow(
            row=row,
            feed_mm_per_min=pairs[0].feed_mm_per_min,
            begin_um=begin_um,
            end_um=begin_um + np.rint(width_mm * UM_PER_MM).astype(np.int64),
            s=np.full(len(pairs), s_word(card, pairs[0].power_ratio)),
            is_forward=is_forward,
        )
