"""What the steps of *New picture* show of a draft: pure."""

from collections.abc import Mapping
from typing import Any, Final

from etchweb.catalogue.pairs import settings_words
from etchweb.drafts.store import Draft
from etchweb.machine.bed_drawing import bed_view
from etchweb.text.formatting import as_sentence, grouped, millimetres, percent, short_duration

SUGGESTED_MM: Final = 100.0

View = dict[str, Any]


def tile_size_px(facts: Mapping[str, Any], quarters: int) -> tuple[int, int]:
    """Return width and height of the photo, turned."""
    width, height = int(facts["width_px"]), int(facts["height_px"])
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
    recipe = draft.recipe or {}
    columns = (draft.width_mm or 0) / recipe.get("line_spacing_mm", 1.0)
    return {
        "width": width,
        "height": height,
        "quarters": draft.quarters,
        "turned": _turn_words(draft.quarters, size_px),
        "left": round(left * 100, 2),
        "top": round(top * 100, 2),
        "wide": round((right - left) * 100, 2),
        "x": left * width,
        "y": top * height,
        "w": (right - left) * width,
        "h": (bottom - top) * height,
        "shape": (bottom - top) / (right - left),
        "columns": round(columns),
        "size": f"{millimetres(draft.width_mm or 0)} × {millimetres(draft.height_mm or 0)} mm",
    }


def _turn_words(quarters: int, size_px: tuple[int, int]) -> str:
    """Return the SVG transform that turns the picture as it lies in its file."""
    width, height = size_px
    moves = ("", f"translate({width} 0)", f"translate({width} {height})", f"translate(0 {height})")
    return f"{moves[quarters]} rotate({quarters * 90})".strip()


def proof_view(draft: Draft, found: Mapping[str, Any], machine: Mapping[str, Any]) -> View:
    """Return what is known of the job before it is etched; `machine` is the snapshot's."""
    head = draft.head or {}
    width_mm, height_mm = found["size_mm"]
    return {
        "size": f"{width_mm:g} × {height_mm:g} mm",
        "dots": f"{grouped(found['columns'])} × {grouped(found['rows'])}",
        "columns": found["columns"],
        "rows": found["rows"],
        "lasts": short_duration(found["predicted_s"]),
        "burnt": percent(found["burnt"]),
        "laser": head["name"],
        "surface": (draft.recipe or {})["surface"],
        "settings": settings_words(draft.recipe or {}),
        "caution": draft.caution,
        "findings": [
            {**one, "sentence": as_sentence(one["sentence"])} for one in found["findings"]
        ],
        "at_x": round(found["at_mm"][0], 2),
        "at_y": round(found["at_mm"][1], 2),
        "width_mm": width_mm,
        "height_mm": height_mm,
        "bed": _bed(head, found, machine),
    }


def _bed(head: Mapping[str, Any], found: Mapping[str, Any], machine: Mapping[str, Any]) -> View:
    """Return the bed with the picture on it; while no machine tells its bed, the laser's own."""
    left_mm, bottom_mm = found["at_mm"]
    width_mm, height_mm = found["size_mm"]
    picture_mm = {
        "left_mm": left_mm,
        "bottom_mm": bottom_mm,
        "right_mm": left_mm + width_mm,
        "top_mm": bottom_mm + height_mm,
    }
    known = bed_view(machine, picture_mm=picture_mm)
    if known is not None:
        return known
    bed = {
        "left_mm": 0.0,
        "bottom_mm": 0.0,
        "right_mm": head["travel_x_mm"],
        "top_mm": head["travel_y_mm"],
        "is_homed": False,
    }
    return bed_view({"bed": bed, "position_mm": None}, picture_mm=picture_mm) or {}
