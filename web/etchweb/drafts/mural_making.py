"""What is made of a mural, in the child process: a job for each tile, the wall as it will look."""

import json
import shutil
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Final

from PIL import Image

from etchpath.writer.raster import Bits
from etchphoto.errors import UnfitDesign
from etchphoto.estimate import speed_findings
from etchphoto.expected import TILE_WHITE, draw_preview
from etchphoto.findings import PhotoFinding
from etchphoto.layout import mural_job as murals
from etchphoto.layout.mural import TilePlace
from etchphoto.proof_sheet import SHEET_PX
from etchweb.drafts.draft import Draft
from etchweb.drafts.made import MadeJob, MadeTile
from etchweb.drafts.making import (
    accepting,
    draft_in,
    made_job,
    photo_of,
    save_proof,
    told_findings,
)
from etchweb.drafts.order import mural_of, order_of
from etchweb.drafts.store import (
    FOUND_NAME,
    JOB_FOLDER,
    PICTURES_OF_JOB,
    PLAN_NAME,
    PROOF_NAME,
    SEEN_NAME,
    tile_seen_name,
)
from etchweb.previews.store import keep_picture
from etchwire.sheet import PICTURE_NAME, Sheet
from etchwire.storing import write_whole

JOINT: Final = (160, 157, 150)
_SEEN_PX: Final = 720
_TILE_PX: Final = 240  # of one tile in a pocket of a bench plan
_QUALITY: Final = 50


def make_mural(folder: Path, on_progress: Callable[[float], None]) -> None:
    """Make the jobs of a draft's tiles, the plan to lay them, and what is known beforehand."""
    draft = draft_in(folder)
    job = murals.mural_job(mural_of(draft), order_of(draft), photo_of(folder, draft))
    known = job.findings
    job = replace(job, order=accepting(known, job.order))
    wall = _Wall(draft=draft, folder=folder, job=job)
    shutil.rmtree(folder / JOB_FOLDER, ignore_errors=True)
    murals.prepare_mural(
        job, folder=folder / JOB_FOLDER, on_progress=on_progress, on_tile=wall.take
    )
    for tile in wall.tiles:
        picture = folder / JOB_FOLDER / tile.job / PICTURE_NAME
        keep_picture(picture, folder=folder / PICTURES_OF_JOB, gcode_sha256=tile.gcode_sha256)
    write_whole(folder / PLAN_NAME, (folder / JOB_FOLDER / murals.PLAN_NAME).read_text("utf-8"))
    wall.save_pictures()
    write_whole(folder / FOUND_NAME, json.dumps(asdict(wall.made(known))))


@dataclass(slots=True, kw_only=True)
class _Wall:
    """What is kept of each tile as it is made, so that none is opened again."""

    draft: Draft
    folder: Path
    job: murals.MuralJob
    tiles: list[MadeTile] = field(default_factory=list)
    burnt: float = 0.0
    first: MadeJob | None = None
    slow: dict[str, PhotoFinding] = field(default_factory=dict)
    seen: Image.Image = field(init=False)

    def __post_init__(self) -> None:
        dots = self.job.dots
        scale = SHEET_PX / max(dots.columns, dots.rows)
        size = round(dots.columns * scale), round(dots.rows * scale)
        self.seen = Image.new("RGB", (max(1, size[0]), max(1, size[1])), JOINT)
        for place in dots.places():
            self.seen.paste(TILE_WHITE, self._box(place))

    def _box(self, place: TilePlace) -> tuple[int, int, int, int]:
        """Return where a tile lies on the picture of the wall: left, top, right, bottom."""
        across, down = (
            self.seen.width / self.job.dots.columns,
            self.seen.height / self.job.dots.rows,
        )
        left, top = round(place.columns.start * across), round(place.rows.start * down)
        right, bottom = round(place.columns.stop * across), round(place.rows.stop * down)
        return left, top, max(right, left + 1), max(bottom, top + 1)

    def take(self, place: TilePlace, bits: Bits, sheet: Sheet) -> None:
        """Take what is known of a tile that was just made."""
        seen = draw_preview(bits, SHEET_PX, self.job.order.look)
        box = self._box(place)
        size = box[2] - box[0], box[3] - box[1]
        self.seen.paste(seen.resize(size, Image.Resampling.BOX), box)
        seen.thumbnail((_TILE_PX, _TILE_PX))
        seen.save(self.folder / tile_seen_name(place.number), "JPEG", quality=_QUALITY)
        self.slow |= {one.name: one for one in speed_findings(sheet)}
        self.burnt += sheet.coverage
        self.first = self.first or made_job(self.draft, sheet, ())
        self.tiles.append(
            MadeTile(
                number=place.number,
                job=self.job.folder_name(place),
                predicted_s=sheet.predicted_s,
                gcode_sha256=sheet.gcode_sha256,
            )
        )

    def save_pictures(self) -> None:
        """Save the wall as it will look, for a screen and as a proof."""
        dots = self.job.dots
        size_mm = dots.columns * dots.spacing_mm, dots.rows * dots.spacing_mm
        save_proof(self.seen, self.draft, size_mm, self.folder / PROOF_NAME)
        self.seen.thumbnail((_SEEN_PX, _SEEN_PX))
        self.seen.save(self.folder / SEEN_NAME, "JPEG", quality=_QUALITY)

    def made(self, known: tuple[PhotoFinding, ...]) -> MadeJob:
        """Return what the page is told; raise UnfitDesign where nothing is to be etched."""
        if self.first is None:
            raise UnfitDesign("every tile of this mural stays white: there is nothing to etch")
        told = replace(self.first, findings=told_findings((*known, *self.slow.values())))
        return replace(
            told,
            burnt=self.burnt / self.job.mural.wall.tiles,
            predicted_s=sum(tile.predicted_s for tile in self.tiles),
            columns=self.job.dots.columns,
            rows=self.job.dots.rows,
            tiles=tuple(self.tiles),
        )
