"""From a mural to its jobs, tile by tile: halftoned as one picture, held a strip at a time."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryFile
from typing import Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.decoder.loading import LoadedPhoto
from etchphoto.errors import UnfitDesign
from etchphoto.expected import save_expected
from etchphoto.findings import PhotoFinding
from etchphoto.framing import Crop, Frame, frame_photo
from etchphoto.grey_mixes import GREY_MIXES
from etchphoto.halftone import KERNELS, RUN_IN, Bits, diffuse_bands, threshold
from etchphoto.job.folder import new_job_folder
from etchphoto.job.order import LETTERING, PhotoOrder
from etchphoto.job.order_findings import order_findings, require_acknowledged, spacing_findings
from etchphoto.job.prepare import shares_of_light, shares_to_burn, write_dots
from etchphoto.layout.design_job import adjustments_of
from etchphoto.layout.mural import Mural, TilePlace, WallDots, as_weak
from etchphoto.layout.mural_plan import plan_svg
from etchphoto.resampling import luminance_on_disk
from etchphoto.turning import turned
from etchwire.catalogue.halftones import halftone_name
from etchwire.errors import UnreadableSheet
from etchwire.sheet import PICTURE_NAME, Sheet, read_sheet
from etchwire.storing import write_whole

PLAN_NAME: Final = "plan.svg"
MOST_DOTS: Final = 1_000_000_000
_DOTS_AT_ONCE: Final = 500_000  # of the picture: in 64 bits while they are halftoned
_SCREEN_PX: Final = 480

Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class MuralJob:
    """A mural found fit for a laser, a recipe and its photo; make one by `mural_job`.

    `order` is that of every single tile.
    """

    mural: Mural
    order: PhotoOrder
    dots: WallDots
    photo: LoadedPhoto
    frame: Frame
    dots_at_once: int = _DOTS_AT_ONCE

    @property
    def findings(self) -> tuple[PhotoFinding, ...]:
        """What the person should know before etching."""
        spacing = spacing_findings(self.order.head, self.order.recipe)
        return (*spacing, *self.frame.findings, *order_findings(self.order))

    def courses(
        self, on_progress: Callable[[float], None] = lambda _: None, *, scratch: Path | None = None
    ) -> Iterator[Bits]:
        """Yield the dots of each course of tiles, joints across included, from the top.

        The photo's light waits in a nameless file of `scratch`, 4 bytes a dot of the wall.
        """
        row = first = 0
        held: list[Bits] = []
        for bits in self._halftoned(scratch):
            held.append(bits)
            end = first + sum(map(len, held))
            while row < self.mural.wall.rows:
                rows = self.dots.course(row)[0].rows
                if end < rows.stop:
                    break
                whole = np.concatenate(held)
                yield whole[rows.start - first : rows.stop - first]
                held, first, row = [whole[rows.stop - first :]], rows.stop, row + 1
                del whole
                on_progress(row / self.mural.wall.rows)

    def _halftoned(self, scratch: Path | None) -> Iterator[Bits]:
        if self.order.halftone == LETTERING:
            return (threshold(band) for band in self._shares(scratch))
        return diffuse_bands(self._shares(scratch), KERNELS[self.order.halftone])

    def _shares(self, scratch: Path | None) -> Iterator[Light]:
        """Yield the shares to burn in bands of rows."""
        places, curve = list(self.dots.places()), self.order.tone_curve
        at_once = max(RUN_IN, self.dots_at_once // self.dots.columns)
        with TemporaryFile(dir=scratch) as file:
            mix = GREY_MIXES[self.order.grey_mix]
            light = luminance_on_disk(self.photo, self.frame, file, mix)
            for first in range(0, self.dots.rows, at_once):
                part = np.array(light[first : first + at_once])
                shares = np.asarray(shares_of_light(part, self.frame, self.order), dtype=np.float32)
                if self.mural.shades:
                    wanted = np.asarray(curve.looks_like(shares), dtype=np.float32)
                    wanted = as_weak(self.mural, places, wanted, first)
                    shares = np.asarray(curve.apply(wanted), dtype=np.float32)
                    del wanted
                yield shares
                del shares, part  # while the next ones are fetched

    def screen_light(self) -> Light:
        """Return the photo as it lies on the wall, small, in linear light: for the plan."""
        scale = min(1.0, _SCREEN_PX / max(self.frame.rows, self.frame.columns))
        small = replace(
            self.frame,
            columns=max(1, round(self.frame.columns * scale)),
            rows=max(1, round(self.frame.rows * scale)),
        )
        return 1 - np.asarray(shares_to_burn(self.photo, small, _as_photographed(self.order)))

    def folder_name(self, place: TilePlace) -> str:
        """Return what the folder of a tile's job is called."""
        return f"tile-{place.number:0{len(str(self.mural.wall.tiles))}d}"


def _as_photographed(order: PhotoOrder) -> PhotoOrder:
    return replace(order, tone=None)


def mural_job(mural: Mural, order: PhotoOrder, photo: LoadedPhoto) -> MuralJob:
    """Return the job of a mural; `order` is that of a photo, whose size does not count.

    Raise UnfitDesign or UnfitOrder, with a sentence, for what cannot be etched so.
    """
    if order.halftone not in (*KERNELS, LETTERING):
        raise UnfitDesign(
            f"a mural cannot have dots of the kind {halftone_name(order.halftone)}: they are "
            f"searched for on one tile at a time. Choose one of "
            f"{', '.join(map(halftone_name, KERNELS))}"
        )
    dots = WallDots(wall=mural.wall, spacing_mm=order.recipe.line_spacing_mm)
    photo = turned(photo, mural.photo.turn)
    frame = frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=dots.columns * dots.spacing_mm,
        height_mm=dots.rows * dots.spacing_mm,
        line_spacing_mm=dots.spacing_mm,
        crop=Crop(*mural.photo.crop) if mural.photo.crop else None,
        most_dots=MOST_DOTS,
    )
    order = replace(
        order,
        width_mm=mural.wall.tile_width_mm,
        height_mm=mural.wall.tile_height_mm,
        adjustments=adjustments_of(mural.photo),
    )
    return MuralJob(mural=mural, order=order, dots=dots, photo=photo, frame=frame)


def prepare_mural(
    job: MuralJob,
    *,
    folder: Path,
    on_progress: Callable[[float], None] = lambda _: None,
    on_tile: Callable[[TilePlace, Bits, Sheet], None] = lambda *_: None,
) -> dict[int, float]:
    """Make a new folder with the jobs of all tiles and the plan by which they are laid.

    Return how long each will take in seconds, by its number: sheets hold an entry for every row,
    and only `on_tile` hears of them, with the tile's dots. A tile that is all white has no job.
    Raise as `prepare_job` does; there is then no folder.
    """
    require_acknowledged(job.findings, job.order)
    seconds = {}
    with new_job_folder(folder) as made:
        write_whole(made / PLAN_NAME, plan_svg(job.mural, job.screen_light()))
        for row, course in enumerate(job.courses(on_progress, scratch=made)):
            for place in job.dots.course(row):
                sheet = _prepare_tile(job, place, course, made)
                if sheet is not None:
                    seconds[place.number] = sheet.predicted_s
                    on_tile(place, course[:, place.columns], sheet)
    return seconds


def prepare_again(
    job: MuralJob,
    number: int,
    *,
    folder: Path,
    on_progress: Callable[[float], None] = lambda _: None,
) -> Sheet:
    """Make the job of one tile of a mural in `folder` again; its dots are those that it had.

    Raise UnfitDesign where the other tiles were made of another photo or with other settings.
    """
    require_acknowledged(job.findings, job.order)
    if not 1 <= number <= job.mural.wall.tiles:
        raise UnfitDesign(f"this mural has the tiles 1 to {job.mural.wall.tiles}, and no other")
    _require_same(job, folder)
    for row, course in enumerate(job.courses(on_progress, scratch=folder)):
        for place in job.dots.course(row):
            if place.number == number:
                sheet = _prepare_tile(job, place, course, folder)
                if sheet is None:
                    raise UnfitDesign(f"tile {number} is white all over: there is nothing to etch")
                return sheet
    raise UnfitDesign(f"this mural has no tile {number}")


def _prepare_tile(job: MuralJob, place: TilePlace, course: Bits, folder: Path) -> Sheet | None:
    bits = np.ascontiguousarray(course[:, place.columns])
    if not bits.any():
        return None
    title = f"{job.mural.name}, tile {place.number} of {job.mural.wall.tiles}"
    order = replace(job.order, title=title)
    with new_job_folder(folder / job.folder_name(place), is_replacing=True) as made:
        sheet = write_dots(bits, order, made, photo=job.photo)
        save_expected(bits, made / PICTURE_NAME, order.look)
    return sheet


def _require_same(job: MuralJob, folder: Path) -> None:
    """Raise UnfitDesign unless photo and settings are those of the other tiles."""
    for place in job.dots.places():
        try:
            sheet = read_sheet(folder / job.folder_name(place))
        except UnreadableSheet:
            continue
        if sheet.photo is None or sheet.photo.sha256 != job.photo.sha256:
            raise UnfitDesign(
                f"{job.photo.name} is not the photo that the other tiles were made of, or it was "
                "changed since: take that one, or the tile will not meet its neighbours"
            )
        was = (sheet.head, sheet.recipe, sheet.halftone, sheet.is_both_directions)
        now = (job.order.head, job.order.recipe, job.order.halftone, job.order.is_both_directions)
        if was != now:
            raise UnfitDesign(
                "the other tiles were made with other settings, "
                f"{sheet.recipe.feed_mm_per_min:g} mm/min and {sheet.recipe.power_ratio:.0%} on "
                f"{sheet.recipe.surface}: say the same laser, recipe and dots again"
            )
        return
    raise UnfitDesign(f"there is no tile of this mural in {folder}: make all of it first")
