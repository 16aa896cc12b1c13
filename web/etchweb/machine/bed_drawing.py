"""The bed as a picture: where head, origin and job lie on it, as an SVG draws it; pure.

Everything comes in the job's coordinates, x right and y up; a picture's y goes down, so it is
the job's with its sign changed. A page that places something draws the same picture.
"""

from collections.abc import Iterable
from typing import Final

from etchweb.text.view import View
from etchwire.bed import Bed
from etchwire.calls.snapshot import JobView
from etchwire.sheet import Bounds

MARGIN_SHARE: Final = 0.05  # of the bed, around everything that is shown


def bed_view(
    bed: Bed,
    head_mm: tuple[float, float] | None,
    job: JobView | None = None,
    *,
    picture_mm: Bounds | None = None,
) -> View:
    """Return what the template `bed.html` draws.

    `head_mm` is where the head is (x, y), None while that is not known; `picture_mm` is a
    rectangle to be placed, where the job's own would not do. Lengths are in mm, places in the
    picture's direction.
    """
    place = picture_mm or (None if job is None else job.picture_mm)
    reach = None if job is None or picture_mm else job.reach_mm
    shown: list[Bed | Bounds] = [bed, *(one for one in (place, reach) if one is not None)]
    if head_mm is not None:
        shown.append(_spot(head_mm))
    width_mm, height_mm = bed.right_mm - bed.left_mm, bed.top_mm - bed.bottom_mm
    return {
        "view_box": _around(shown, max(width_mm, height_mm) * MARGIN_SHARE),
        "u": max(width_mm, height_mm) / 100,  # a hundredth of the bed, to draw by
        "limits": {
            "left_mm": bed.left_mm,
            "bottom_mm": bed.bottom_mm,
            "right_mm": bed.right_mm,
            "top_mm": bed.top_mm,
        },
        "is_homed": bed.is_homed,
        "bed": _box(bed),
        "picture": None if place is None else _box(place),
        "reach": None if reach is None else _box(reach),
        "head": None if head_mm is None else {"x": head_mm[0], "y": -head_mm[1]},
        "pointer": None if job is None else job.pointer_mm,
        "words": bed_words(bed, head_mm),
    }


def bed_words(bed: Bed, head_mm: Iterable[float] | None) -> str:
    """Return the picture in words, for who cannot see it."""
    size = f"{bed.right_mm - bed.left_mm:g} by {bed.top_mm - bed.bottom_mm:g} mm"
    where = "" if head_mm is None else f" The head is at {place_words(head_mm)}."
    return f"The bed from above, {size}.{where}"


def place_words(place_mm: Iterable[float]) -> str:
    """Return a place as a person says it: x 12.0, y 58.8 mm."""
    x_mm, y_mm = (round(value, 1) + 0.0 for value in place_mm)
    return f"x {x_mm:z.1f}, y {y_mm:z.1f} mm"


def _box(bounds: Bed | Bounds) -> dict[str, float]:
    return {
        "x": bounds.left_mm,
        "y": -bounds.top_mm,
        "width": bounds.right_mm - bounds.left_mm,
        "height": bounds.top_mm - bounds.bottom_mm,
    }


def _spot(place_mm: Iterable[float]) -> Bounds:
    x_mm, y_mm = place_mm
    return Bounds(left_mm=x_mm, right_mm=x_mm, bottom_mm=y_mm, top_mm=y_mm)


def _around(bounds: Iterable[Bed | Bounds], margin_mm: float) -> str:
    all_bounds = list(bounds)
    left_mm = min(one.left_mm for one in all_bounds) - margin_mm
    right_mm = max(one.right_mm for one in all_bounds) + margin_mm
    top_mm = max(one.top_mm for one in all_bounds) + margin_mm
    bottom_mm = min(one.bottom_mm for one in all_bounds) - margin_mm
    return f"{left_mm:g} {-top_mm:g} {right_mm - left_mm:g} {top_mm - bottom_mm:g}"
