"""The tile with what was added to it, drawn to scale: in the child process."""

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np
from PIL import Image

from etchphoto.findings import PhotoFinding
from etchphoto.layout.design import Tile
from etchphoto.layout.design_job import design_job
from etchphoto.layout.mural_job import mural_job
from etchphoto.layout.tile_picture import ROUND_MM, draw_tile
from etchweb.drafts.draft import Draft
from etchweb.drafts.halftones import SMOOTH, TEST_CARD
from etchweb.drafts.made import DrawnTile
from etchweb.drafts.making import draft_in, photo_of
from etchweb.drafts.mural_making import JOINT
from etchweb.drafts.order import design_of, mural_of, order_of
from etchweb.drafts.store import DRAWN_NAME, TILE_NAME
from etchwire.storing import write_whole

_LONGEST_PX: Final = 720
_WALL_DOTS: Final = 1000  # along a mural's longer side
_QUALITY: Final = 60

Progress: TypeAlias = Callable[[float], None]
Drawn: TypeAlias = tuple[Image.Image, float, tuple[PhotoFinding, ...]]


def draw_design(folder: Path, on_progress: Callable[[float], None]) -> None:
    """Draw the draft's tile with its lettering and shape, and note what is too fine on it."""
    draft = draft_in(folder)
    picture, px_per_mm, notes = (_wall if draft.wall else _tile)(folder, draft, on_progress)
    picture.save(folder / TILE_NAME, "JPEG", quality=_QUALITY)
    drawn = DrawnTile(
        of=draft.found_key,
        px_per_mm=px_per_mm,
        size_px=picture.size,
        notes=tuple(finding.sentence for finding in notes),
    )
    write_whole(folder / DRAWN_NAME, json.dumps(asdict(drawn)))


def _tile(folder: Path, draft: Draft, on_progress: Progress) -> Drawn:
    photo = None if draft.is_sign else photo_of(folder, draft)
    job = design_job(design_of(draft), order_of(draft), photo)
    picture, px_per_mm = draw_tile(
        job.bits(on_progress), job.design.tile, job.order.look, _LONGEST_PX
    )
    return picture, px_per_mm, job.fine_lettering


def _wall(folder: Path, draft: Draft, on_progress: Progress) -> Drawn:
    """Draw a mural with its joints, of dots so coarse that all of them can be made at once."""
    mural, order, photo = mural_of(draft), order_of(draft), photo_of(folder, draft)
    job = mural_job(mural, order, photo)
    longest_mm = max(mural.wall.width_mm, mural.wall.height_mm)
    spacing_mm = max(order.recipe.line_spacing_mm, longest_mm / _WALL_DOTS)
    coarse = replace(
        order,
        recipe=replace(order.recipe, line_spacing_mm=spacing_mm),
        halftone=SMOOTH if order.halftone == TEST_CARD else order.halftone,
    )
    drawn = mural_job(mural, coarse, photo)
    bits = np.zeros((drawn.dots.rows, drawn.dots.columns), dtype=np.bool_)
    joints = ~bits
    for place, dots in drawn.tiles(on_progress, scratch=folder):
        bits[place.rows, place.columns] = dots
        joints[place.rows, place.columns] = False
    tile = Tile(width_mm=mural.wall.width_mm, height_mm=mural.wall.height_mm, margin_mm=0.0)
    picture, px_per_mm = draw_tile(bits, tile, coarse.look, _LONGEST_PX)
    edge = round(ROUND_MM * px_per_mm)
    inside = picture.width - 2 * edge, picture.height - 2 * edge
    mask = Image.fromarray(joints).resize(inside, Image.Resampling.BOX)
    picture.paste(JOINT, (edge, edge), mask)
    return picture, px_per_mm, job.layer_findings
