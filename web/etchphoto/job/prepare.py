"""From photo to job: the whole way, as the command and the page both take it."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np

from etchpath.errors import EtchpathError
from etchpath.writer.dots import Order, write_job
from etchpath.writer.raster import Bits
from etchphoto.decoder.loading import LoadedPhoto, load_photo
from etchphoto.dots.heats import HEATS, Heats
from etchphoto.errors import UnfitOrder
from etchphoto.expected import save_expected
from etchphoto.framing import Frame
from etchphoto.grey_mixes import GREY_MIXES
from etchphoto.halftone import HALFTONES, Coverage
from etchphoto.job.folder import new_job_folder
from etchphoto.job.order import FROM_TEST_CARD, PhotoOrder, frame_of
from etchphoto.job.order_findings import cheap_findings, require_acknowledged
from etchphoto.resampling import luminance_per_dot
from etchphoto.retouching import Part
from etchphoto.tone import coverage_to_burn
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, Photo, Sheet

# How far each step leads, by the time it takes on a large job.
_RESAMPLED, _TONED, _HALFTONED, _WRITTEN = 0.35, 0.45, 0.6, 0.9
_TONED_BEFORE_SEARCH: Final = 0.15  # a search takes longer than all the rest


def prepare_job(  # noqa: PLR0913 - one keyword for each thing to be heard of
    photo: Path | LoadedPhoto,
    order: PhotoOrder,
    *,
    folder: Path,
    is_replacing: bool = False,
    on_progress: Callable[[float], None] = lambda _: None,
    on_dots: Callable[[Coverage, Bits], None] = lambda _coverage, _bits: None,
    on_preview: Callable[[Bits], None] = lambda _: None,
) -> Sheet:
    """Make the job of a photo in `folder`: G-code, sheet and the tile as promised.

    `on_progress` hears how much is done, 0 to 1; `on_dots` the shares to burn and the dots made
    of them, before they are written; `on_preview` the first dots of a search, early. What they
    raise ends the work. Raise an EtchphotoError, with a sentence, for a photo, order or folder
    that will not do; NeedsAcknowledgement when a finding is still open. `folder` then is as it
    was before. `findings` tells beforehand what is open.
    """
    loaded = photo if isinstance(photo, LoadedPhoto) else load_photo(photo)
    frame = frame_of(loaded, order)
    require_acknowledged(cheap_findings(frame, order), order)
    with new_job_folder(folder, is_replacing=is_replacing) as partial:
        is_searched = order.halftone == FROM_TEST_CARD
        toned = _TONED_BEFORE_SEARCH if is_searched else _TONED
        coverage = shares_to_burn(
            loaded, frame, order, lambda done: on_progress(done * toned / _TONED)
        )
        bits = dots_of(
            coverage,
            order,
            on_progress=lambda done: on_progress(toned + done * (_HALFTONED - toned)),
            on_preview=on_preview,
        )
        on_dots(coverage, bits)
        del coverage
        sheet = write_dots(bits, order, partial, photo=loaded)
        on_progress(_WRITTEN)
        save_expected(bits, partial / PICTURE_NAME, order.look)
    on_progress(1.0)
    return sheet


def dots_of(
    coverage: Coverage,
    order: PhotoOrder,
    *,
    on_progress: Callable[[float], None] = lambda _: None,
    on_preview: Callable[[Bits], None] = lambda _: None,
    seed: int = 1,
    heats: Heats = HEATS,
) -> Bits:
    """Return the dots (`etchpath.writer.raster`) that the order's halftone makes of `coverage`.

    `coverage` is what `shares_to_burn` gives, or a part of it; `seed` and `heats` are those of
    a search.
    """
    if order.dot is None or order.halftone != FROM_TEST_CARD:
        bits = HALFTONES[order.halftone](coverage)
        on_progress(1.0)
        return bits
    from etchphoto.dots.search import search_dots  # noqa: PLC0415  brings OpenCV
    from etchphoto.dots.switch_price import switch_price  # noqa: PLC0415

    return search_dots(
        coverage.astype(np.float32),
        order.dot,
        spacing_mm=order.recipe.line_spacing_mm,
        motion=order.motion,
        switch_price=switch_price(order.head, order.recipe),
        seed=seed,
        heats=heats,
        on_progress=on_progress,
        on_preview=on_preview,
    )


def shares_to_burn(
    photo: LoadedPhoto,
    frame: Frame,
    order: PhotoOrder,
    on_progress: Callable[[float], None] = lambda _: None,
) -> Coverage:
    """Return the share of each dot's area to burn, 0 to 1: shape (rows, columns), row 0 on top."""
    light = luminance_per_dot(
        photo, frame, lambda done: on_progress(done * _RESAMPLED), GREY_MIXES[order.grey_mix]
    )
    coverage = shares_of_light(light, frame, order)
    on_progress(_TONED)
    return coverage


def shares_of_light(
    light: Coverage, frame: Frame, order: PhotoOrder, part: Part | None = None
) -> Coverage:
    """Return the share of each dot's area to burn.

    `light` is that of the photo's part `frame`, or of some dots of it, this `part`.
    """
    return coverage_to_burn(
        light,
        order.adjustments,
        order.tone_curve,
        order.black,
        retouching=order.retouching.within(frame.crop),
        part=part,
    )


def write_dots(
    bits: Bits, order: PhotoOrder, folder: Path, *, photo: LoadedPhoto | None = None
) -> Sheet:
    """Write G-code and sheet of `bits` into `folder`; raise UnfitOrder where they do not fit.

    `bits` is as in `etchpath.writer.raster`. `photo` is what they were made from; a sign is made
    from none, and needs a title.
    """
    writer_order = Order(
        title=order.title or (Path(photo.name).stem if photo else ""),
        head=order.head,
        recipe=order.recipe,
        halftone=order.halftone,
        photo=None if photo is None else _described(photo),
        open_shadows=order.adjustments.open_shadows,
        is_both_directions=order.is_both_directions,
        at_x_mm=order.at_x_mm,
        at_y_mm=order.at_y_mm,
    )
    try:
        with (folder / GCODE_NAME).open("wb") as file:
            sheet = write_job(bits, file, writer_order)
    except EtchpathError as error:
        raise UnfitOrder(str(error)) from error
    (folder / SHEET_NAME).write_text(sheet.to_json(), encoding="utf-8")
    return sheet


def _described(photo: LoadedPhoto) -> Photo:
    return Photo(
        name=photo.name,
        sha256=photo.sha256,
        width_px=photo.width_px,
        height_px=photo.height_px,
    )
