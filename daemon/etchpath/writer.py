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
from etchpath.job_file import JobFile
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.raster import UM_PER_MM, Bits, Raster, etched_rows
from etchwire.craft import Head, Recipe
from etchwire.sheet import Bounds, Photo, RowEntry, Sheet

RUN_UP_MARGIN: Final = 1.1  # times v²/2a, so that the first dot is at full speed
RUN_UP_STEP_UM: Final = 100  # a run-up in tenths of a millimetre needs few characters


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is asked for, beside the dots.

    `at_x_mm` and `at_y_mm` place the picture's lower left corner; left out, the picture lies
    as near to the origin as the run-ups allow. Title, photo and halftone go to the sheet as
    they are.
    """

    title: str
    head: Head
    recipe: Recipe
    halftone: str
    photo: Photo | None = None
    is_both_directions: bool = True
    at_x_mm: float | None = None
    at_y_mm: float | None = None


def write_job(bits: Bits, file: BinaryIO, order: Order) -> Sheet:
    """Write the G-code of `bits` (rows, columns; True burns; row 0 on top) and return its sheet.

    Raise JobDoesNotFit or NothingToEtch, with a sentence, before anything is written.
    """
    if bits.ndim != 2 or not bits.any():
        raise NothingToEtch("the picture has no dot to etch: it is white all over")
    raster = _raster(order)
    _require_it_fits(order, _motion_bounds(bits, raster))
    job = JobFile(file, raster, len(bits), Machine.of_head(order.head))
    for row in etched_rows(bits, raster):
        job.write_row(row)
    job.end()
    return _sheet(bits, order, job)


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
    left_um = run_up_um + abs(lead_um) if order.at_x_mm is None else _um(order.at_x_mm)
    return Raster(
        left_um=left_um,
        bottom_um=0 if order.at_y_mm is None else _um(order.at_y_mm),
        spacing_mm=recipe.line_spacing_mm,
        feed_mm_per_s=feed / SECONDS_PER_MINUTE,
        s=s_word(head, recipe),
        run_up_um=run_up_um,
        lead_um=lead_um,
        is_both_directions=order.is_both_directions,
    )


def _um(mm: float) -> int:
    if not math.isfinite(mm):
        raise JobDoesNotFit(f"a picture cannot be placed at {mm!r} mm")
    return round(mm * UM_PER_MM)


def _motion_bounds(bits: Bits, raster: Raster) -> Bounds:
    """Return what the head may need, without encoding a row: both directions' reach counted."""
    columns = np.flatnonzero(bits.any(axis=0))
    rows = np.flatnonzero(bits.any(axis=1))
    edges = raster.column_edges_um(bits.shape[1])
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
    head, feed = order.head, order.recipe.feed_mm_per_min
    if feed > head.max_feed_mm_per_min:
        raise JobDoesNotFit(
            f"{feed:g} mm/min is faster than {head.name} can move: "
            f"{head.max_feed_mm_per_min:g} mm/min is its limit"
        )
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


def _sheet(bits: Bits, order: Order, job: JobFile) -> Sheet:
    spacing_mm = order.recipe.line_spacing_mm
    rows, columns = bits.shape
    left_mm, bottom_mm = job.raster.left_um / UM_PER_MM, job.raster.bottom_um / UM_PER_MM
    width_mm, height_mm = columns * spacing_mm, rows * spacing_mm
    index, predicted_s = job.timed_index()
    return Sheet(
        title=order.title,
        photo=order.photo,
        width_mm=width_mm,
        height_mm=height_mm,
        rows=rows,
        columns=columns,
        head=order.head,
        recipe=order.recipe,
        halftone=order.halftone,
        is_both_directions=order.is_both_directions,
        coverage=float(bits.mean()),
        dose_j_per_mm2=order.recipe.dose_j_per_mm2(order.head),
        picture=Bounds(
            left_mm=left_mm,
            bottom_mm=bottom_mm,
            right_mm=left_mm + width_mm,
            top_mm=bottom_mm + height_mm,
        ),
        motion=reach(index),
        predicted_s=predicted_s,
        gcode_sha256=job.sha256,
        gcode_bytes=job.size_bytes,
        gcode_lines=job.lines,
        end_line=job.end_line,
        index=index,
    )


def reach(index: tuple[RowEntry, ...]) -> Bounds:
    """Return everywhere the head goes: from the origin, through every row, and back."""
    x_mm = [0.0, *(mm for entry in index for mm in (entry.from_mm, entry.to_mm))]
    y_mm = [0.0, *(entry.y_mm for entry in index)]
    return Bounds(left_mm=min(x_mm), bottom_mm=min(y_mm), right_mm=max(x_mm), top_mm=max(y_mm))
