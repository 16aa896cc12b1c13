"""Dots to a job: the G-code of a picture, and the sheet that says everything about it.

A job that asks for more than the head has (travel, speed, power) is refused here, before a
byte is written: only here are run-ups and register lead known. Preflight looks again, at the
file itself and against the machine that is really connected.
"""

import math
from dataclasses import dataclass
from typing import BinaryIO, Final

import numpy as np

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.writer.job_file import JobFile, WrittenRow
from etchpath.writer.job_sheet import JobOrder, place_um, require_speed, sheet_of
from etchpath.writer.raster import (
    UM_PER_MM,
    Bits,
    Raster,
    RowOfDots,
    etched_rows,
    feed_text,
    mm_text,
    parts_of,
)
from etchwire.catalogue.heads import Head, Recipe
from etchwire.sheet import Bounds, Photo, Sheet

RUN_UP_MARGIN: Final = 1.1  # times v²/2a, so that the first dot is at full speed
RUN_UP_STEP_UM: Final = 100  # a run-up in tenths of a millimetre needs few characters


@dataclass(frozen=True, slots=True, kw_only=True)
class Order(JobOrder):
    """What is asked for, beside the dots."""

    photo: Photo | None = None
    open_shadows: float = 0.0


def write_job(bits: Bits, file: BinaryIO, order: Order) -> Sheet:
    """Write the G-code of `bits` (`etchpath.writer.raster`; True burns) and return its sheet.

    Raise JobDoesNotFit or NothingToEtch, with a sentence, before anything is written.
    """
    if bits.ndim not in (2, 3) or not bits.any():
        raise NothingToEtch("the picture has no dot to etch: it is white all over")
    raster = _raster(order)
    _require_it_fits(order, _motion_bounds(bits, raster))
    job = JobFile(file, Machine.of_head(order.head))
    for row in etched_rows(bits, raster):
        job.write_row(_written(row, raster, len(bits), is_first=job.is_without_rows))
    job.end()
    return sheet_of(
        order,
        job,
        rows=len(bits),
        columns=bits.shape[1],
        coverage=float(bits.mean()),
        corner_um=(raster.left_um, raster.bottom_um),
        photo=order.photo,
        open_shadows=order.open_shadows,
    )


def run_up_mm(head: Head, feed_mm_per_min: float) -> float:
    """Return the beam-off stretch before and after each row: v²/2a and a tenth, rounded up."""
    ramp_mm = (feed_mm_per_min / SECONDS_PER_MINUTE) ** 2 / (2 * head.acceleration_mm_per_s2)
    steps = math.ceil(ramp_mm * RUN_UP_MARGIN * UM_PER_MM / RUN_UP_STEP_UM)
    return max(1, steps) * RUN_UP_STEP_UM / UM_PER_MM


def s_word(head: Head, recipe: Recipe) -> int:
    """Return the power as the controller's S word; raise JobDoesNotFit when it would be none."""
    s = round(recipe.power_ratio * head.max_s)
    if s < 1:
        raise JobDoesNotFit(
            f"power {recipe.power_ratio * 100:g} % is less than the laser can be told"
        )
    return s


def _raster(order: Order) -> Raster:
    head, recipe = order.head, order.recipe
    feed = recipe.feed_mm_per_min
    if recipe.line_spacing_mm * UM_PER_MM < 1:
        raise JobDoesNotFit("the line spacing is below a thousandth of a millimetre")
    run_up_um = round(run_up_mm(head, feed) * UM_PER_MM)
    lead_um = round(head.register.lead_mm(feed) * UM_PER_MM)
    left_um = (
        run_up_um + abs(lead_um) if order.at_x_mm is None else place_um(order.at_x_mm, "picture")
    )
    return Raster(
        left_um=left_um,
        bottom_um=0 if order.at_y_mm is None else place_um(order.at_y_mm, "picture"),
        spacing_mm=recipe.line_spacing_mm,
        feed_mm_per_s=feed / SECONDS_PER_MINUTE,
        s=s_word(head, recipe),
        run_up_um=run_up_um,
        lead_um=lead_um,
        is_both_directions=order.is_both_directions,
    )


def _written(row: RowOfDots, raster: Raster, rows: int, *, is_first: bool) -> WrittenRow:
    run_up = mm_text(row.run_up_um)
    feed = feed_text(raster.feed_mm_per_s * SECONDS_PER_MINUTE) if is_first else b""
    return WrittenRow(
        row=row.row,
        start_um=row.start_um,
        end_um=row.end_um,
        y_um=raster.row_um(row.row, rows),
        lengths_um=np.concatenate(([row.run_up_um], row.run_lengths_um, [row.run_up_um])),
        feed_mm_per_s=raster.feed_mm_per_s,
        text=b"G91G1X%sS0%s\n%sX%sS0\n" % (run_up, feed, row.runs, run_up),
    )


def _motion_bounds(bits: Bits, raster: Raster) -> Bounds:
    """Return what the head may need, without encoding a row: both directions' reach counted."""
    parts = parts_of(bits)
    columns = np.flatnonzero(parts.any(axis=0))
    rows = np.flatnonzero(parts.any(axis=1))
    edges = raster.edges_um(bits)
    reach = raster.run_up_um + abs(raster.lead_um)
    x_um = (0, int(edges[columns[0]]) - reach, int(edges[columns[-1] + 1]) + reach)
    y_um = (0, raster.row_um(int(rows[0]), len(bits)), raster.row_um(int(rows[-1]), len(bits)))
    return Bounds(
        left_mm=min(x_um) / UM_PER_MM,
        bottom_mm=min(y_um) / UM_PER_MM,
        right_mm=max(x_um) / UM_PER_MM,
        top_mm=max(y_um) / UM_PER_MM,
    )


def _require_it_fits(order: Order, motion: Bounds) -> None:
    head = order.head
    require_speed(head, order.recipe.feed_mm_per_min)
    spans = (
        ("wide", motion.right_mm - motion.left_mm, head.travel_x_mm),
        ("high", motion.top_mm - motion.bottom_mm, head.travel_y_mm),
    )
    for side, needed_mm, travel_mm in spans:
        if needed_mm > travel_mm:
            raise JobDoesNotFit(
                f"the job is {needed_mm:.1f} mm {side} with its run-ups, but {head.name} moves "
                f"only {travel_mm:g} mm: make the picture smaller, or place it nearer to the origin"
            )
