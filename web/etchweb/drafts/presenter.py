"""What the steps of *New picture* show of a draft: pure."""

from typing import Final

from etchweb.catalogue.pairs import settings_words
from etchweb.drafts.draft import Draft
from etchweb.drafts.forms import EARLIER_WALL, MENDS
from etchweb.drafts.made import JobFinding, MadeJob, PhotoFacts
from etchweb.machine.bed_drawing import bed_view
from etchweb.text.formatting import as_sentence, grouped, millimetres, percent, short_duration
from etchweb.text.view import View
from etchwire.bed import Bed
from etchwire.calls.snapshot import MachineView
from etchwire.catalogue.heads import Head
from etchwire.sheet import Bounds

SUGGESTED_MM: Final = 100.0
SAME_WALL: Final = (
    "These tiles are for a wall that was etched before, and come from its painting lot."
)


def tile_size_px(facts: PhotoFacts, quarters: int) -> tuple[int, int]:
    """Return width and height of the photo, turned."""
    width, height = facts.width_px, facts.height_px
    return (height, width) if quarters % 2 else (width, height)


def suggested_size(size_px: tuple[int, int]) -> tuple[float, float]:
    """Return width and height in the photo's own shape, the longer side 100 mm."""
    longest = max(size_px)
    width_mm, height_mm = (max(1.0, round(SUGGESTED_MM * side / longest)) for side in size_px)
    return width_mm, height_mm


def cut_view(
    draft: Draft, crop: tuple[float, float, float, float], size_px: tuple[int, int]
) -> View:
    """Return where the cut lies: in percent for the fields, in pixels for the picture."""
    width, height = size_px
    left, top, right, bottom = crop
    width_mm, height_mm = draft.picture_mm or (0.0, 0.0)
    columns = width_mm / (draft.recipe.line_spacing_mm if draft.recipe else 1.0)
    return {
        "width": width,
        "height": height,
        "quarters": draft.quarters,
        "turned": _turn_words(draft, size_px),
        "left": round(left * 100, 2),
        "top": round(top * 100, 2),
        "wide": round((right - left) * 100, 2),
        "x": left * width,
        "y": top * height,
        "w": (right - left) * width,
        "h": (bottom - top) * height,
        "shape": (bottom - top) / (right - left),
        "columns": round(columns),
        "size": f"{millimetres(width_mm)} × {millimetres(height_mm)} mm",
    }


def _turn_words(draft: Draft, size_px: tuple[int, int]) -> str:
    """Return the SVG transform that turns and mirrors the picture as it lies in its file."""
    width, height = size_px
    mirror = f"translate({width} 0) scale(-1 1)" if draft.is_mirrored else ""
    quarters = draft.quarters
    moves = ("", f"translate({width} 0)", f"translate({width} {height})", f"translate(0 {height})")
    return " ".join(filter(None, (mirror, moves[quarters], f"rotate({quarters * 90})")))


def proof_view(draft: Draft, found: MadeJob, machine: MachineView | None) -> View:
    """Return what is known of the job before it is etched; `machine` is the snapshot's."""
    head, recipe = draft.head, draft.recipe
    if head is None or recipe is None:
        raise ValueError("a job is made of a draft whose laser and recipe are decided")
    width_mm, height_mm = found.size_mm
    return {
        "size": f"{width_mm:g} × {height_mm:g} mm",
        "dots": f"{grouped(found.columns)} × {grouped(found.rows)}",
        "columns": found.columns,
        "rows": found.rows,
        "lasts": short_duration(found.predicted_s),
        "burnt": percent(found.burnt),
        "tiles": [
            (tile.number, f"Tile {tile.number}, {short_duration(tile.predicted_s)}")
            for tile in found.tiles
        ],
        "wall": _wall_words(draft),
        "laser": head.name,
        "surface": recipe.surface,
        "settings": settings_words(recipe),
        "caution": draft.caution,
        "findings": [
            {
                "name": one.name,
                "sentence": as_sentence(one.sentence),
                "must_be_read": one.must_be_read,
                "mend": MENDS[one.name][0] if one.name in MENDS else "",
            }
            for one in (*found.findings, *_found_of_wall(draft))
        ],
        "at_x": round(found.at_mm[0], 2),
        "at_y": round(found.at_mm[1], 2),
        "width_mm": width_mm,
        "height_mm": height_mm,
        "bed": _bed(head, found, machine),
    }


def _found_of_wall(draft: Draft) -> tuple[JobFinding, ...]:
    if not (draft.wall and draft.earlier_wall):
        return ()
    return (JobFinding(name=EARLIER_WALL, sentence=SAME_WALL, must_be_read=False),)


def _wall_words(draft: Draft) -> str:
    """Return how a mural lies; empty for a picture on one tile."""
    if draft.wall is None or draft.picture_mm is None:
        return ""
    columns, rows, joint_mm = draft.wall
    wide_mm, high_mm = draft.picture_mm
    return (
        f"{columns} × {rows} tiles with joints of {millimetres(joint_mm)} mm, "
        f"{millimetres(wide_mm)} × {millimetres(high_mm)} mm overall. Tiles are numbered row by "
        "row from the top left; one that stays white has no job."
    )


def _bed(head: Head, found: MadeJob, machine: MachineView | None) -> View:
    """Return the bed with the picture on it; while no machine tells its bed, the laser's own."""
    left_mm, bottom_mm = found.at_mm
    width_mm, height_mm = found.size_mm
    picture_mm = Bounds(
        left_mm=left_mm,
        bottom_mm=bottom_mm,
        right_mm=left_mm + width_mm,
        top_mm=bottom_mm + height_mm,
    )
    if machine is not None and machine.bed is not None:
        return bed_view(machine.bed, machine.position_mm, picture_mm=picture_mm)
    bed = Bed.unhomed(head.travel_x_mm, head.travel_y_mm)
    return bed_view(bed, None, picture_mm=picture_mm)
