"""Cards to jobs: rows with speeds and powers of their own, and the sheet that goes with them.

Every row states its speed where its run-up begins, so any row may be the first after a pause.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import BinaryIO

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.writer.job_file import JobFile, WrittenRow
from etchpath.writer.job_sheet import JobOrder, place_um, require_speed, sheet_of
from etchpath.writer.raster import UM_PER_MM, feed_text, mm_text
from etchpath.writer.span_row import RowMoves, SpanRow, moves_of
from etchwire.catalogue.heads import Head
from etchwire.sheet import CardSettings, Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class CardOrder(JobOrder):
    """What is asked for beside the rows: the card as a picture.

    The rows have speeds and powers of their own beside `recipe`. `coverage` is the share of the
    card that burns.
    """

    rows: int
    columns: int
    coverage: float
    is_register_corrected: bool = True

    @property
    def spacing_um(self) -> float:
        """The height of a row."""
        return self.recipe.line_spacing_mm * UM_PER_MM


def write_card(rows: Sequence[SpanRow], file: BinaryIO, order: CardOrder) -> Sheet:
    """Write the G-code of `rows`, from the top down, and return the job's sheet.

    Raise JobDoesNotFit or NothingToEtch, with a sentence, before anything is written.
    """
    if not rows:
        raise NothingToEtch("the card has no row to etch")
    require_speed(order.head, max(row.feed_mm_per_min for row in rows))
    moves = moves_of(rows, order.head, is_register_corrected=order.is_register_corrected)
    left_um, bottom_um = _place_um(order, moves)
    job = JobFile(file, Machine.of_head(order.head))
    for row, its_moves in zip(rows, moves, strict=True):
        from_bottom = (order.rows - 1 - row.row + 0.5) * order.spacing_um
        job.write_row(_written(row.row, its_moves, left_um, bottom_um + round(from_bottom)))
    job.end()
    sheet = sheet_of(
        order,
        job,
        rows=order.rows,
        columns=order.columns,
        coverage=order.coverage,
        corner_um=(left_um, bottom_um),
    )
    return replace(sheet, card=_settings_of(rows, order.head))


def _settings_of(rows: Sequence[SpanRow], head: Head) -> CardSettings:
    feeds = [row.feed_mm_per_min for row in rows]
    powers = [float(s) / head.max_s for row in rows for s in (row.s.min(), row.s.max())]
    return CardSettings(
        low_feed_mm_per_min=min(feeds),
        high_feed_mm_per_min=max(feeds),
        low_power_ratio=min(powers),
        high_power_ratio=max(powers),
    )


def _written(row: int, moves: RowMoves, left_um: int, y_um: int) -> WrittenRow:
    return WrittenRow(
        row=row,
        start_um=left_um + moves.start_um,
        end_um=left_um + moves.end_um,
        y_um=y_um,
        lengths_um=moves.lengths_um,
        feed_mm_per_s=moves.feed_mm_per_min / SECONDS_PER_MINUTE,
        text=b"".join(_lines_of(moves)),
    )


def _lines_of(moves: RowMoves) -> Iterator[bytes]:
    lengths_um = moves.lengths_um.tolist()
    feeds = [feed_text(feed) for feed in moves.feed_mm_per_min.tolist()]
    changes = (b"" if feed == before else feed for before, feed in pairwise(feeds))
    yield b"G91G1X%sS0%s\n" % (mm_text(lengths_um[0]), feeds[0])
    yield from map(_line, lengths_um[1:], moves.s.tolist()[1:], changes)


@lru_cache(maxsize=4096)  # rows of a card repeat one another
def _line(length_um: int, s: int, feed: bytes) -> bytes:
    return b"X%sS%d%s\n" % (mm_text(length_um), s, feed)


def _place_um(order: CardOrder, moves: Sequence[RowMoves]) -> tuple[int, int]:
    """Return the card's lower left corner; raise JobDoesNotFit where the head cannot go."""
    ends = [place for row in moves for place in (row.start_um, row.end_um)]
    left_um = max(0, -min(ends)) if order.at_x_mm is None else place_um(order.at_x_mm, "card")
    bottom_um = 0 if order.at_y_mm is None else place_um(order.at_y_mm, "card")
    head = order.head
    wide_mm = (max(0, left_um + max(ends)) - min(0, left_um + min(ends))) / UM_PER_MM
    high_mm = max(0, bottom_um) / UM_PER_MM + order.rows * order.recipe.line_spacing_mm
    for side, needed_mm, travel_mm in (
        ("wide", wide_mm, head.travel_x_mm),
        ("high", high_mm, head.travel_y_mm),
    ):
        if needed_mm > travel_mm:
            raise JobDoesNotFit(
                f"the card needs {needed_mm:.1f} mm {side} with its run-ups, but {head.name} moves "
                f"only {travel_mm:g} mm: give it a smaller place, or one nearer to the origin"
            )
    return left_um, bottom_um
