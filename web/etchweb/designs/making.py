"""The tile with what was added to it, drawn to scale: in the child process."""

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Final

from etchphoto.layout.design_job import design_job
from etchphoto.layout.tile_picture import draw_tile
from etchweb.drafts.making import draft_in, photo_of
from etchweb.drafts.order import design_of, order_of
from etchweb.drafts.store import DRAWN_NAME, TILE_NAME, DrawnTile
from etchwire.storing import write_whole

_LONGEST_PX: Final = 720
_QUALITY: Final = 60


def draw_design(folder: Path, on_progress: Callable[[float], None]) -> None:
    """Draw the draft's tile with its lettering and shape, and note what is too fine on it."""
    draft = draft_in(folder)
    photo = None if draft.is_sign else photo_of(folder, draft)
    job = design_job(design_of(draft), order_of(draft), photo)
    picture, px_per_mm = draw_tile(
        job.bits(on_progress), job.design.tile, job.order.look, _LONGEST_PX
    )
    picture.save(folder / TILE_NAME, "JPEG", quality=_QUALITY)
    drawn = DrawnTile(
        of=draft.found_key,
        px_per_mm=px_per_mm,
        size_px=picture.size,
        notes=tuple(finding.sentence for finding in job.fine_lettering),
    )
    write_whole(folder / DRAWN_NAME, json.dumps(asdict(drawn)))
