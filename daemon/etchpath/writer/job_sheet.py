"""The sheet of a job whose G-code has just been written, and whether the head can go there."""

from dataclasses import dataclass

from etchpath.errors import JobDoesNotFit
from etchpath.writer.job_file import JobFile
from etchpath.writer.raster import UM_PER_MM
from etchwire.catalogue.heads import Head, Recipe
from etchwire.plain import FURTHEST_MM
from etchwire.sheet import Bounds, Photo, RowEntry, Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOrder:
    """What is asked for, of every job.

    `at_x_mm` and `at_y_mm` place the lower left corner; left out, the job lies as near to the
    origin as its run-ups allow. Title, recipe and halftone go to the sheet as they are.
    """

    title: str
    head: Head
    recipe: Recipe
    halftone: str
    is_both_directions: bool = True
    at_x_mm: float | None = None
    at_y_mm: float | None = None


def sheet_of(  # noqa: PLR0913 - what a sheet says beside its order
    order: JobOrder,
    job: JobFile,
    *,
    rows: int,
    columns: int,
    coverage: float,
    corner_um: tuple[int, int],
    photo: Photo | None = None,
    open_shadows: float = 0.0,
) -> Sheet:
    """Return the sheet of `job`; `corner_um` is where the lower left corner lies."""
    index, predicted_s = job.timed_index()
    spacing_mm = order.recipe.line_spacing_mm
    left_mm, bottom_mm = (um / UM_PER_MM for um in corner_um)
    width_mm, height_mm = columns * spacing_mm, rows * spacing_mm
    return Sheet(
        title=order.title,
        photo=photo,
        width_mm=width_mm,
        height_mm=height_mm,
        rows=rows,
        columns=columns,
        head=order.head,
        recipe=order.recipe,
        halftone=order.halftone,
        is_both_directions=order.is_both_directions,
        coverage=coverage,
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
        open_shadows=open_shadows,
    )


def reach(index: tuple[RowEntry, ...]) -> Bounds:
    """Return everywhere the head goes: from the origin, through every row, and back."""
    x_mm = [0.0, *(mm for entry in index for mm in (entry.from_mm, entry.to_mm))]
    y_mm = [0.0, *(entry.y_mm for entry in index)]
    return Bounds(left_mm=min(x_mm), bottom_mm=min(y_mm), right_mm=max(x_mm), top_mm=max(y_mm))


def place_um(mm: float, what: str) -> int:
    """Return a place that a person gave; raise JobDoesNotFit where it is none."""
    if not abs(mm) <= FURTHEST_MM:
        raise JobDoesNotFit(f"a {what} cannot be placed at {mm!r} mm")
    return round(mm * UM_PER_MM)


def require_speed(head: Head, feed_mm_per_min: float) -> None:
    """Raise JobDoesNotFit where the head cannot move that fast."""
    if feed_mm_per_min > head.max_feed_mm_per_min:
        raise JobDoesNotFit(
            f"{feed_mm_per_min:g} mm/min is faster than {head.name} can move: "
            f"{head.max_feed_mm_per_min:g} mm/min is its limit"
        )
