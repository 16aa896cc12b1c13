"""From a design to a job: one raster of the recipe's spacing, by the writer of every photo."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

from etchpath.writer.raster import Bits
from etchphoto.decoder.loading import LoadedPhoto
from etchphoto.errors import UnfitDesign
from etchphoto.expected import save_expected
from etchphoto.findings import PhotoFinding
from etchphoto.framing import Crop
from etchphoto.job.folder import new_job_folder
from etchphoto.job.order import LETTERING, PhotoOrder, frame_of
from etchphoto.job.order_findings import (
    findings,
    recipe_findings,
    register_findings,
    require_acknowledged,
)
from etchphoto.job.prepare import dots_of, shares_to_burn, write_dots
from etchphoto.layout.composing import Fade, composed, lettering_findings, set_letterings
from etchphoto.layout.design import Design, PhotoLayer
from etchphoto.layout.grid import ROWS_AT_ONCE, Grid, Window
from etchphoto.lettering.setting import SetText
from etchphoto.tone import Adjustments
from etchphoto.turning import turned
from etchwire.sheet import PICTURE_NAME, Sheet

_COMPOSED, _WRITTEN = 0.7, 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedPhoto:
    """The photo of a design, turned, and the order that says how it fills its box."""

    photo: LoadedPhoto
    order: PhotoOrder

    def dots(self, fade: Fade | None, on_progress: Callable[[float], None]) -> Bits:
        """Return its dots; `fade` is what soft masks leave of what shall look burnt."""
        coverage = shares_to_burn(
            self.photo, frame_of(self.photo, self.order), self.order, on_progress
        )
        if fade is not None:
            curve = self.order.tone_curve
            for first in range(0, len(coverage), ROWS_AT_ONCE):  # in 64 bits, as curves are
                rows = slice(first, min(len(coverage), first + ROWS_AT_ONCE))
                coverage[rows] = curve.apply(curve.looks_like(coverage[rows]) * fade(rows))
        return dots_of(coverage, self.order)


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignJob:
    """A design that has been found fit for a laser and a recipe, and for its photo.

    `order` says with what it is etched, and where; its size and the photo's look are the design's.
    Make one by `design_job`.
    """

    design: Design
    order: PhotoOrder
    grid: Grid
    letterings: dict[int, SetText]
    placed: PlacedPhoto | None

    @property
    def fine_lettering(self) -> tuple[PhotoFinding, ...]:
        """What is to be said of lettering that is too fine to be burnt."""
        return lettering_findings(
            list(self.letterings.values()),
            spacing_mm=self.grid.spacing_mm,
            spot_mm=self.order.head.spot_mm,
        )

    @property
    def findings(self) -> tuple[PhotoFinding, ...]:
        """What the person should know before etching."""
        if self.placed is not None:
            return (*findings(self.placed.photo, self.placed.order), *self.fine_lettering)
        of_recipe = recipe_findings(self.order.head, self.order.recipe)
        return (*of_recipe, *self.fine_lettering, *register_findings(self.order))

    def bits(self, on_progress: Callable[[float], None] = lambda _: None) -> Bits:
        """Return every dot of the tile (`etchpath.writer.raster`)."""
        placed = self.placed
        photo_dots = None if placed is None else partial(placed.dots, on_progress=on_progress)
        return composed(self.design, self.grid, self.letterings, photo_dots)


def design_job(
    design: Design,
    order: PhotoOrder,
    photo: LoadedPhoto | None = None,
) -> DesignJob:
    """Return the job of a design; `order` is that of a photo, whose size does not count.

    Raise UnfitDesign, UnfitOrder or FontMissing, with a sentence, for what cannot be etched so.
    """
    layer = design.photo
    if (layer is None) != (photo is None):
        raise UnfitDesign(_NO_PHOTO if photo is None else _NO_ROOM_FOR_PHOTO)
    grid = Grid.of(design.tile, order.recipe.line_spacing_mm)
    tile = design.tile
    order = replace(
        order,
        width_mm=tile.width_mm,
        height_mm=tile.height_mm,
        title=order.title or design.name,
        halftone=LETTERING if layer is None else order.halftone,
    )
    placed = None
    if layer is not None and photo is not None:
        window = grid.window(design.box_of(layer))
        placed = PlacedPhoto(
            photo=turned(photo, layer.turn), order=_photo_order(layer, order, grid, window)
        )
        order = replace(order, adjustments=placed.order.adjustments)
        frame_of(placed.photo, placed.order)
    return DesignJob(
        design=design,
        order=order,
        grid=grid,
        letterings=set_letterings(design),
        placed=placed,
    )


def _photo_order(layer: PhotoLayer, order: PhotoOrder, grid: Grid, window: Window) -> PhotoOrder:
    rows, columns = window
    return replace(
        order,
        width_mm=(columns.stop - columns.start) * grid.spacing_mm,
        height_mm=(rows.stop - rows.start) * grid.spacing_mm,
        crop=Crop(*layer.crop) if layer.crop else None,
        adjustments=adjustments_of(layer),
    )


def adjustments_of(layer: PhotoLayer) -> Adjustments:
    """Return the look of a photo in a design."""
    return Adjustments(
        brightness=layer.brightness,
        contrast=layer.contrast,
        gamma=layer.gamma,
        local_contrast=layer.local_contrast,
        sharpness=layer.sharpness,
        open_shadows=layer.open_shadows,
    )


def prepare_design(
    job: DesignJob,
    *,
    folder: Path,
    is_replacing: bool = False,
    on_progress: Callable[[float], None] = lambda _: None,
    on_dots: Callable[[Bits], None] = lambda _: None,
) -> Sheet:
    """Make the job in `folder`: G-code, sheet and the tile as promised.

    `on_dots` hears the dots before they are written. Raise as `prepare_job` does;
    `folder` then is as it was before.
    """
    require_acknowledged(job.findings, job.order)
    with new_job_folder(folder, is_replacing=is_replacing) as made:
        bits = job.bits(lambda done: on_progress(done * _COMPOSED))
        on_dots(bits)
        photo = None if job.placed is None else job.placed.photo
        sheet = write_dots(bits, job.order, made, photo=photo)
        on_progress(_WRITTEN)
        save_expected(bits, made / PICTURE_NAME, job.order.look)
    on_progress(1.0)
    return sheet


_NO_PHOTO: Final = "this design has a photo in it: say which"
_NO_ROOM_FOR_PHOTO: Final = "this design has no photo in it: leave the photo out, or add a layer"
