"""The bench plan: which prepared picture lies in which pocket of a jig, and the job of them all."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil, dist
from pathlib import Path
from typing import Final

from PIL import Image

from etchpath.errors import EtchpathError
from etchpath.writer.tiles import Tile, tiles_of, write_tiles
from etchphoto.errors import UnfitDesign, UnfitOrder
from etchphoto.expected import QUICK_COMPRESSION, TILE_WHITE
from etchphoto.job.folder import new_job_folder
from etchphoto.layout.jig import Jig, Pocket
from etchphoto.layout.tile_picture import BENCH
from etchwire.catalogue.lots import set_fault
from etchwire.errors import UnreadableSheet
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, Sheet, TilePart, read_sheet

_SAME_PLACE_MM: Final = 0.1
_MOST_PX: Final = (12_000, 2_000)  # of the picture: rows, columns
_OURS: Final = ("PNG",)  # what a job's own picture is


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A prepared job that is laid into a pocket, and what is known of the tile there.

    Sizes that are 0 were not measured: the tile then is taken to fill its pocket. Tiles of one
    `set_name` will hang side by side: a matching set, or one picture over several tiles.
    """

    pocket: int
    job: Path
    width_mm: float = 0.0
    height_mm: float = 0.0
    thickness_mm: float = 0.0
    warp_mm: float = 0.0
    lot: str = ""
    item: int = 0
    set_name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPlan:
    """Pictures laid into the pockets of a jig; `is_set`: they will hang side by side."""

    name: str
    jig: Jig
    laid: tuple[Laid, ...]
    is_set: bool = False

    @property
    def empty(self) -> tuple[int, ...]:
        """The pockets in which nothing lies."""
        full = {one.pocket for one in self.laid}
        return tuple(pocket.number for pocket in self.jig.places() if pocket.number not in full)

    def tiles(self) -> tuple[Tile, ...]:
        """Return the tiles in the order of etching, those at the exhaust first.

        Raise UnfitDesign, with the pocket, for what cannot be laid so.
        """
        if not self.laid:
            raise UnfitDesign("every pocket is empty: lay a picture into one")
        self._require_sets_of_one_lot()
        by_pocket: dict[int, Laid] = {}
        for one in self.laid:
            if by_pocket.setdefault(one.pocket, one) is not one:
                raise UnfitDesign(f"two pictures lie in pocket {one.pocket}")
        places = {pocket.number: pocket for pocket in self.jig.in_order()}
        for number in by_pocket:
            if number not in places:
                raise UnfitDesign(
                    f"{self.jig.name} has the pockets 1 to {len(places)}, and no pocket {number}"
                )
        tiles = [self._tile(places[number], by_pocket[number]) for number in places
                 if number in by_pocket]  # fmt: skip
        self.jig.require_on_bed(tiles[0].sheet.head)
        return tuple(tiles)

    def _require_sets_of_one_lot(self) -> None:
        sets = {one.set_name for one in self.laid if one.set_name}
        lots = [{one.lot for one in self.laid if one.set_name == name and one.lot} for name in sets]
        if self.is_set:
            lots.append({one.lot for one in self.laid})
        for fault in filter(None, map(set_fault, lots)):
            raise UnfitDesign(fault[:1].lower() + fault[1:].rstrip("."))

    def _tile(self, pocket: Pocket, one: Laid) -> Tile:
        try:
            sheet = read_sheet(one.job)
        except UnreadableSheet as error:
            raise UnfitDesign(f"pocket {one.pocket}: {error}") from error
        pockets = self.jig.pockets
        wide_mm, high_mm = one.width_mm or pockets.width_mm, one.height_mm or pockets.height_mm
        try:
            self.jig.require_fits(wide_mm, high_mm)
        except UnfitDesign as error:
            raise UnfitDesign(f"pocket {one.pocket}: {error}") from error
        self.jig.require_in_focus(one.pocket, thickness_mm=one.thickness_mm, warp_mm=one.warp_mm)
        rounded_mm = sheet.recipe.line_spacing_mm / 2  # a picture has whole rows
        if sheet.width_mm > wide_mm + rounded_mm or sheet.height_mm > high_mm + rounded_mm:
            raise UnfitDesign(
                f"the picture of pocket {one.pocket}, {sheet.width_mm:.1f} × "
                f"{sheet.height_mm:.1f} mm, reaches beyond its tile of {wide_mm:g} × "
                f"{high_mm:g} mm: prepare it smaller"
            )
        tiles = tiles_of(one.job / GCODE_NAME, sheet)
        if sheet.parts or not tiles:
            raise UnfitDesign(f"pocket {one.pocket} holds a job that is a bench of its own")
        part = replace(tiles[0].part, pocket=pocket.number, item=one.item)
        corner_mm = pocket.corner_mm(sheet.width_mm, sheet.height_mm)
        return replace(tiles[0], part=part, corner_mm=corner_mm)


def prepare_bench(
    plan: BenchPlan,
    *,
    folder: Path,
    is_replacing: bool = False,
    on_progress: Callable[[float], None] = lambda _: None,
) -> Sheet:
    """Make the one job of a bench plan in `folder`: G-code, sheet, and the tiles as promised.

    Raise UnfitDesign, UnfitOrder or JobNotWritable, with a sentence; `folder` then is as before.
    """
    tiles = plan.tiles()
    with new_job_folder(folder, is_replacing=is_replacing) as made:
        sheet = _write(tiles, made, plan.name)
        on_progress(0.7)
        jobs = {one.pocket: one.job for one in plan.laid}
        pictures = ((part, jobs[part.pocket] / PICTURE_NAME) for part in sheet.parts)
        _save_stacked(sheet, list(pictures), made / PICTURE_NAME)
    on_progress(1.0)
    return sheet


def prepare_more(job: Path, plan: BenchPlan, *, folder: Path) -> Sheet:
    """Make in `folder` a job of the tiles of the bench in `job`, at their places, and of `plan`'s.

    Raise as `prepare_bench` does, and UnfitDesign for a pocket in which a tile lies already, or a
    jig that is not the bench's.
    """
    whole = _read_bench(job)
    _require_jig(plan.jig, whole)
    jobs = {one.pocket: one.job for one in plan.laid}
    for part in whole.parts:
        if part.pocket in jobs:
            raise UnfitDesign(f"in pocket {part.pocket} of this bench lies a tile already")
    in_order = [pocket.number for pocket in plan.jig.in_order()]
    tiles = sorted(
        (*tiles_of(job / GCODE_NAME, whole), *plan.tiles()),
        key=lambda tile: in_order.index(tile.part.pocket),
    )
    with new_job_folder(folder) as made:
        sheet = _write(tiles, made, whole.title)
        laid = [part for part in sheet.parts if part.pocket not in jobs]
        added = [
            (part, jobs[part.pocket] / PICTURE_NAME) for part in sheet.parts if part.pocket in jobs
        ]
        pictures = (*_cut_out(job / PICTURE_NAME, whole, laid), *added)
        _save_stacked(sheet, pictures, made / PICTURE_NAME)
    return sheet


def _require_jig(jig: Jig, whole: Sheet) -> None:
    """Raise UnfitDesign where the bench does not lie in this jig, as it was measured now."""
    middles = {pocket.number: pocket.middle_mm for pocket in jig.places()}
    for part in whole.parts:
        place = part.picture
        lies = (place.left_mm + place.right_mm) / 2, (place.bottom_mm + place.top_mm) / 2
        if part.pocket not in middles or dist(lies, middles[part.pocket]) > _SAME_PLACE_MM:
            raise UnfitDesign(
                f"pocket {part.pocket} of this bench does not lie where {jig.name} has it: say the "
                "jig that it was laid into, or lay all of it anew"
            )


def prepare_some(
    job: Path, pockets: Sequence[int], *, folder: Path, is_left_out: bool = False
) -> Sheet:
    """Make in `folder` a job of some tiles of the bench in `job`, each at its place.

    They are those in `pockets`, to be done again, or all others (`is_left_out`). Raise as
    `prepare_bench` does.
    """
    whole = _read_bench(job)
    known = {part.pocket for part in whole.parts}
    if unknown := sorted(set(pockets) - known):
        raise UnfitDesign(f"nothing lies in pocket {unknown[0]} of this bench")
    tiles = [
        one
        for one in tiles_of(job / GCODE_NAME, whole)
        if (one.part.pocket in pockets) is not is_left_out
    ]
    with new_job_folder(folder) as made:
        sheet = _write(tiles, made, whole.title)
        _save_stacked(sheet, _cut_out(job / PICTURE_NAME, whole, sheet.parts), made / PICTURE_NAME)
    return sheet


def _read_bench(job: Path) -> Sheet:
    """Return the sheet of a bench; raise UnfitDesign."""
    try:
        whole = read_sheet(job)
    except UnreadableSheet as error:
        raise UnfitDesign(str(error)) from error
    if not whole.parts:
        raise UnfitDesign(f"{job} holds one picture, and no bench")
    return whole


def _write(tiles: Sequence[Tile], folder: Path, title: str) -> Sheet:
    try:
        with (folder / GCODE_NAME).open("wb") as file:
            sheet = write_tiles(tiles, file, title=title)
    except EtchpathError as error:
        raise UnfitOrder(str(error)) from error
    (folder / SHEET_NAME).write_text(sheet.to_json(), encoding="utf-8")
    return sheet


_Source = tuple[TilePart, "Path | Image.Image | None"]


def _cut_out(picture: Path, whole: Sheet, some: Sequence[TilePart]) -> list[_Source]:
    """Return the pictures of some tiles out of that of all of them."""
    places = {part.pocket: part for part in whole.parts}
    if not picture.is_file():
        return [(part, None) for part in some]
    with Image.open(picture, formats=_OURS) as opened:
        stack = opened.convert("RGB")
    px_per_row = stack.height / whole.rows
    found: list[_Source] = []
    for part in some:
        was = places[part.pocket]
        top, low = round(was.first_row * px_per_row), round(was.end_row * px_per_row)
        width = max(1, round(was.columns * stack.width / whole.columns))
        found.append((part, stack.crop((0, top, width, max(low, top + 1)))))
    return found


def _save_stacked(sheet: Sheet, pictures: Sequence[_Source], path: Path) -> None:
    """Save the tiles' pictures one above the other, as the rows of the job are numbered."""
    every = max(1, *(ceil(has / most) for has, most in
                     zip((sheet.rows, sheet.columns), _MOST_PX, strict=True)))  # fmt: skip
    high, wide = max(1, sheet.rows // every), max(1, sheet.columns // every)
    stack = Image.new("RGB", (wide, high), BENCH)
    for part, pixels in _opened(pictures):
        top, low = (row * high // sheet.rows for row in (part.first_row, part.end_row))
        size = max(1, part.columns * wide // sheet.columns), max(1, low - top)
        resample = Image.Resampling.BOX if every > 1 else Image.Resampling.NEAREST
        stack.paste(pixels.resize(size, resample), (0, top))
    stack.save(path, format="PNG", compress_level=QUICK_COMPRESSION)


def _opened(pictures: Sequence[_Source]) -> Iterator[tuple[TilePart, Image.Image]]:
    for part, source in pictures:
        if isinstance(source, Image.Image):
            yield part, source
        elif source is None or not source.is_file():
            yield part, Image.new("RGB", (1, 1), TILE_WHITE)
        else:
            with Image.open(source, formats=_OURS) as opened:
                yield part, opened.convert("RGB")
