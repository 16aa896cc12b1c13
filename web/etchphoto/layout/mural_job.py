"""From a mural to its jobs, tile by tile: one picture, held a strip or a tile at a time."""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits
from etchphoto.decoder.loading import LoadedPhoto
from etchphoto.errors import UnfitDesign
from etchphoto.expected import save_expected, shows_dots
from etchphoto.findings import PhotoFinding
from etchphoto.framing import Crop, Frame, frame_photo
from etchphoto.grey_mixes import GREY_MIXES
from etchphoto.halftone import KERNELS, RUN_IN, diffuse_bands, threshold
from etchphoto.job.folder import new_job_folder
from etchphoto.job.order import FROM_TEST_CARD, LETTERING, PhotoOrder
from etchphoto.job.order_findings import order_findings, recipe_findings, require_acknowledged
from etchphoto.job.prepare import dots_of, shares_of_light, shares_to_burn, write_dots
from etchphoto.layout.composing import lay_over, lettering_findings, photo_fade, set_letterings
from etchphoto.layout.design_job import adjustments_of
from etchphoto.layout.grid import ROWS_AT_ONCE, Grid, Window
from etchphoto.layout.mural import Mural, TilePlace, Wall, WallDots, as_weak
from etchphoto.layout.mural_plan import plan_svg
from etchphoto.lettering.setting import SetText
from etchphoto.resampling import luminance_on_disk
from etchphoto.retouching import Part
from etchphoto.turning import turned
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
    letterings: dict[int, SetText]
    dots_at_once: int = _DOTS_AT_ONCE

    @property
    def findings(self) -> tuple[PhotoFinding, ...]:
        """What the person should know before etching."""
        of_recipe = recipe_findings(self.order.head, self.order.recipe)
        return (
            *of_recipe,
            *self.frame.findings,
            *self.layer_findings,
            *_shade_findings(self.mural),
            *order_findings(self.order),
        )

    @property
    def layer_findings(self) -> tuple[PhotoFinding, ...]:
        """What is to be said of lettering: too fine to be burnt, or cut by a joint."""
        texts = list(self.letterings.values())
        spot_mm, spacing_mm = self.order.head.spot_mm, self.dots.spacing_mm
        fine = lettering_findings(texts, spacing_mm=spacing_mm, spot_mm=spot_mm)
        return (*fine, *_joint_findings(self.mural.wall, texts))

    @property
    def is_searched(self) -> bool:
        """Whether dots are searched for, tile by tile; else they are made as one picture."""
        return self.order.halftone == FROM_TEST_CARD

    def tiles(
        self,
        on_progress: Callable[[float], None] = lambda _: None,
        *,
        scratch: Path | None = None,
        only: Collection[int] = (),
    ) -> Iterator[tuple[TilePlace, Bits]]:
        """Yield every tile, or `only` some, with its dots. The photo's light waits in `scratch`."""
        if self.is_searched:
            yield from self._searched(on_progress, scratch, only)
            return
        for row, course in enumerate(self.courses(on_progress, scratch=scratch)):
            for place in self.dots.course(row):
                if not only or place.number in only:
                    yield place, np.ascontiguousarray(course[:, place.columns])

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
                course = whole[rows.start - first : rows.stop - first]
                self._lay_over(course, top=rows.start, left=0)
                yield course
                held, first, row = [whole[rows.stop - first :]], rows.stop, row + 1
                del whole, course
                on_progress(row / self.mural.wall.rows)

    def _halftoned(self, scratch: Path | None) -> Iterator[Bits]:
        if self.order.halftone == LETTERING:
            return (threshold(band) for band in self._bands(scratch))
        return diffuse_bands(self._bands(scratch), KERNELS[self.order.halftone])

    def _bands(self, scratch: Path | None) -> Iterator[Light]:
        """Yield the shares to burn in bands of rows."""
        at_once = max(RUN_IN, self.dots_at_once // self.dots.columns)
        with TemporaryFile(dir=scratch) as file:
            light = self._light(file)
            for first in range(0, self.dots.rows, at_once):
                rows = slice(first, min(self.dots.rows, first + at_once))
                yield self._shares(light, (rows, slice(0, self.dots.columns)))

    def _searched(
        self,
        on_progress: Callable[[float], None],
        scratch: Path | None,
        only: Collection[int],
    ) -> Iterator[tuple[TilePlace, Bits]]:
        """Yield tiles whose dots are searched for, each by itself, as it is etched by itself.

        Nothing hangs on its neighbours' dots: they are fired on other tiles, and beyond a joint no
        eye blends them. A tile looks the same whichever others are made.
        """
        places = [place for place in self.dots.places() if not only or place.number in only]
        with TemporaryFile(dir=scratch) as file:
            light = self._light(file)
            for done, place in enumerate(places):
                bits = dots_of(
                    self._shares(light, (place.rows, place.columns)),
                    self.order,
                    on_progress=partial(_note_share, on_progress, done, len(places)),
                    seed=place.number,
                )
                self._lay_over(bits, top=place.rows.start, left=place.columns.start)
                yield place, bits

    def _light(self, file: IO[bytes]) -> Light:
        mix = GREY_MIXES[self.order.grey_mix]
        return luminance_on_disk(self.photo, self.frame, file, mix)

    def _shares(self, light: Light, window: Window) -> Light:
        """Return the shares to burn of some dots of the wall."""
        rows, columns = window
        curve, design = self.order.tone_curve, self.mural.design
        part = Part(
            top=rows.start, left=columns.start, rows=self.dots.rows, columns=self.dots.columns
        )
        shares = shares_of_light(np.array(light[window]), self.frame, self.order, part)
        fade = None if design is None else photo_fade(design, self._grid, window)
        if fade is None and not self.mural.shades:
            return np.asarray(shares, dtype=np.float32)
        wanted = np.asarray(curve.looks_like(shares), dtype=np.float32)
        if fade is not None:
            for first in range(0, len(wanted), ROWS_AT_ONCE):  # in 64 bits, as masks are
                strip = slice(first, min(len(wanted), first + ROWS_AT_ONCE))
                wanted[strip] *= fade(strip)
        if self.mural.shades:
            places = list(self.dots.places())
            wanted = as_weak(self.mural, places, wanted, rows.start, columns.start)
        return np.asarray(curve.apply(wanted), dtype=np.float32)

    def _lay_over(self, bits: Bits, *, top: int, left: int) -> None:
        if self.mural.design is not None:
            lay_over(bits, self.mural.design, self._grid, self.letterings, top=top, left=left)

    @property
    def _grid(self) -> Grid:
        dots = self.dots
        return Grid(rows=dots.rows, columns=dots.columns, spacing_mm=dots.spacing_mm)

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


def search_s(order: PhotoOrder, dots: int, processor_s: Callable[[], float]) -> float:
    """Return how long this computer would search for so many dots, tried on a few of them.

    `processor_s` is a clock of the seconds that this process has had. 0 where no tone card told
    the dot.
    """
    if order.dot is None:
        return 0.0
    from etchphoto.dots.search import search_s_per_dot  # noqa: PLC0415  brings OpenCV
    from etchphoto.dots.switch_price import switch_price  # noqa: PLC0415

    return dots * search_s_per_dot(
        order.dot,
        processor_s,
        spacing_mm=order.recipe.line_spacing_mm,
        motion=order.motion,
        switch_price=switch_price(order.head, order.recipe),
    )


def _as_photographed(order: PhotoOrder) -> PhotoOrder:
    return replace(order, tone=None, halftone=LETTERING)


def _note_share(on_progress: Callable[[float], None], done: int, tiles: int, share: float) -> None:
    """Tell how far all tiles have come, of which one has come so far."""
    on_progress((done + share) / tiles)


def _shade_findings(mural: Mural) -> tuple[PhotoFinding, ...]:
    """Return whose white and black all tiles show, where some were measured."""
    weakest = mural.weakest
    if weakest is None:
        return ()
    white, black = weakest
    darkest = next(one.number for one in mural.shades if one.white == white)
    palest = next(one.number for one in mural.shades if one.black == black)
    fired = "" if len({one.black for one in mural.shades}) == 1 else f", as tile {palest} is fired"
    sentence = (
        f"All tiles are etched to the weakest, so that none stands out: no whiter than {white:.0%}"
        f" of the light, as tile {darkest} is bare, and no blacker than {black:.0%}{fired}."
    )
    if len(mural.shades) < mural.wall.tiles:
        sentence += " Tiles that were not measured count as the weakest."
    return (PhotoFinding("weakest-tile", sentence),)


def _joint_findings(wall: Wall, texts: Sequence[SetText]) -> tuple[PhotoFinding, ...]:
    """Return which lettering lies over a joint."""
    if not wall.joint_mm:
        return ()
    return tuple(
        PhotoFinding(
            "lettering-over-joint",
            f"“{text.lines[0].text}” lies across a joint: {wall.joint_mm:g} mm of it are left out "
            "there, and its strokes go on straight behind the joint. Move it, or make it smaller, "
            "if it shall stand on whole tiles.",
        )
        for text in texts
        if _is_over(wall.tile_width_mm, wall.joint_mm, text.ink.left_mm, text.ink.right_mm)
        or _is_over(wall.tile_height_mm, wall.joint_mm, text.ink.top_mm, text.ink.bottom_mm)
    )


def _is_over(tile_mm: float, joint_mm: float, from_mm: float, to_mm: float) -> bool:
    """Return whether something leaves the tile on which it begins, or begins on none."""
    tile = int(from_mm / (tile_mm + joint_mm))
    return to_mm > tile * (tile_mm + joint_mm) + tile_mm


def mural_job(
    mural: Mural,
    order: PhotoOrder,
    photo: LoadedPhoto,
) -> MuralJob:
    """Return the job of a mural; `order` is that of a photo, whose size does not count.

    Raise UnfitDesign, UnfitOrder or FontMissing, with a sentence, for what cannot be etched so.
    """
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
    letterings = {} if mural.design is None else set_letterings(mural.design)
    return MuralJob(
        mural=mural, order=order, dots=dots, photo=photo, frame=frame, letterings=letterings
    )


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
        for place, bits in job.tiles(on_progress, scratch=made):
            sheet = _prepare_tile(job, place, bits, made)
            if sheet is not None:
                seconds[place.number] = sheet.predicted_s
                on_tile(place, bits, sheet)
    return seconds


def prepare_again(
    job: MuralJob,
    number: int,
    *,
    folder: Path,
    on_progress: Callable[[float], None] = lambda _: None,
) -> Sheet:
    """Make the job of one tile of a mural in `folder` again; its dots are those that it had.

    Raise UnfitDesign where the other tiles were made of another photo, with other settings or of
    another look: the tile's own dots tell, or a neighbour's where its job is gone, which
    knows nothing of what lies on this tile alone.
    """
    require_acknowledged(job.findings, job.order)
    if not 1 <= number <= job.mural.wall.tiles:
        raise UnfitDesign(f"this mural has the tiles 1 to {job.mural.wall.tiles}, and no other")
    _require_same(job, folder)
    known = _known_tile(job, number, folder)
    for place, bits in job.tiles(on_progress, scratch=folder, only={number, known}):
        if place.number == known:
            _require_as_before(job, place, bits, folder)
        if place.number == number:
            again = place, bits
        if place.number == max(number, known):
            break
    sheet = _prepare_tile(job, *again, folder)
    if sheet is None:
        raise UnfitDesign(f"tile {number} is white all over: there is nothing to etch")
    return sheet


def _prepare_tile(job: MuralJob, place: TilePlace, bits: Bits, folder: Path) -> Sheet | None:
    if not bits.any():
        return None
    title = f"{job.mural.name}, tile {place.number} of {job.mural.wall.tiles}"
    order = replace(job.order, title=title)
    with new_job_folder(folder / job.folder_name(place), is_replacing=True) as made:
        sheet = write_dots(bits, order, made, photo=job.photo)
        save_expected(bits, made / PICTURE_NAME, order.look)
    return sheet


def _known_tile(job: MuralJob, number: int, folder: Path) -> int:
    """Return the tile whose dots are known: this one, or the nearest course's nearest."""
    places = {place.number: place for place in job.dots.places()}
    asked = places[number]
    return min(
        (one for one in places if (folder / job.folder_name(places[one]) / PICTURE_NAME).exists()),
        key=lambda one: (abs(places[one].row - asked.row), abs(one - number)),
        default=number,
    )


def _require_as_before(job: MuralJob, place: TilePlace, bits: Bits, folder: Path) -> None:
    """Raise UnfitDesign unless a tile's dots are those of its job, where it has one."""
    picture = folder / job.folder_name(place) / PICTURE_NAME
    if picture.exists() and not shows_dots(picture, bits, job.order.look):
        raise UnfitDesign(
            f"tile {place.number} would not be what it was: crop, look, size or lettering was "
            "changed since, or this release places dots differently. Go back to what it was made "
            "with, or make all of the mural anew in another folder"
        )


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
