"""A mural: one photo over many tiles, with joints between them, behind which the photo goes on."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import LARGEST_MM, Design, Layer, PhotoLayer, Tile

MOST_TILES: Final = 1000
LARGEST_WALL_MM: Final = 20_000.0

Floats: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """`columns` by `rows` tiles of one size, a joint between neighbours."""

    columns: int
    rows: int
    tile_width_mm: float
    tile_height_mm: float
    joint_mm: float = 2.0

    def __post_init__(self) -> None:
        """Refuse what nobody lays."""
        if not (self.columns >= 1 and self.rows >= 1 and self.tiles <= MOST_TILES):
            raise UnfitDesign(f"a mural has 1 to {MOST_TILES} tiles, in columns and rows")
        for name, mm in (("width", self.tile_width_mm), ("height", self.tile_height_mm)):
            if not 0 < mm <= LARGEST_MM:
                raise UnfitDesign(f"a tile's {name} must be above 0 mm, not {mm!r}")
        if not 0 <= self.joint_mm <= min(self.tile_width_mm, self.tile_height_mm):
            raise UnfitDesign(f"a joint of {self.joint_mm!r} mm is none between such tiles")
        if max(self.width_mm, self.height_mm) > LARGEST_WALL_MM:
            raise UnfitDesign(f"a mural is {LARGEST_WALL_MM:g} mm wide and high at most")

    def require_room_for_layers(self) -> None:
        """Raise UnfitDesign where it is larger than a design may be."""
        if max(self.width_mm, self.height_mm) > LARGEST_MM:
            raise UnfitDesign(
                f"lettering and shapes lie on murals up to {LARGEST_MM:g} mm wide and high"
            )

    @property
    def tiles(self) -> int:
        """How many tiles there are."""
        return self.columns * self.rows

    @property
    def width_mm(self) -> float:
        """The overall width, joints included."""
        return self.columns * self.tile_width_mm + (self.columns - 1) * self.joint_mm

    @property
    def height_mm(self) -> float:
        """The overall height, joints included."""
        return self.rows * self.tile_height_mm + (self.rows - 1) * self.joint_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class TileShade:
    """What one tile reflects, bare and fired, 0 to 1, where it was measured."""

    number: int
    white: float
    black: float

    def __post_init__(self) -> None:
        """Refuse what no tile reflects."""
        if not 0 <= self.black < self.white <= 1 or self.number < 1:
            raise UnfitDesign(
                f"a tile reflects more white than black, both 0 to 1, not {self.white!r} and "
                f"{self.black!r}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mural:
    """A wall, the photo's look, and how white and black tiles were measured to be.

    Tiles are numbered from 1, row by row from the top left. Those without a shade of their own
    are taken to be as the weakest. `layers` lie over the photo, in millimetres from the upper left
    corner of the wall, over joints as if there were none.
    """

    name: str
    wall: Wall
    photo: PhotoLayer
    shades: tuple[TileShade, ...] = ()
    layers: tuple[Layer, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what the photo cannot have, layers off the wall, and tiles that are none."""
        if any(isinstance(layer, PhotoLayer) for layer in self.layers):
            raise UnfitDesign("a mural has one photo, whose look stands under [photo]")
        if self.layers:
            self.wall.require_room_for_layers()
            _ = self.design
        if self.photo.box is not None:
            raise UnfitDesign("a mural's photo fills the wall: leave its box out, or crop it")
        if self.photo.local_contrast or self.photo.sharpness:
            raise UnfitDesign(
                "local contrast and sharpness look at what lies round a dot, and a mural is worked "
                "out strip by strip: leave them out"
            )
        numbers = [shade.number for shade in self.shades]
        if any(number > self.wall.tiles for number in numbers) or len(set(numbers)) < len(numbers):
            raise UnfitDesign(
                f"a tile's shade is said once, for a number from 1 to {self.wall.tiles}"
            )

    @property
    def design(self) -> Design | None:
        """What lies over the photo, on the wall as on one tile; None for a photo alone."""
        if not self.layers:
            return None
        tile = Tile(width_mm=self.wall.width_mm, height_mm=self.wall.height_mm, margin_mm=0.0)
        return Design(name=self.name, tile=tile, layers=self.layers)

    @property
    def weakest(self) -> tuple[float, float] | None:
        """The white and the black that every tile can show; None where none was measured."""
        if not self.shades:
            return None
        white = min(shade.white for shade in self.shades)
        black = max(shade.black for shade in self.shades)
        if white <= black:
            raise UnfitDesign(
                "no grey can be had on all of these tiles: the darkest white is no lighter than "
                "the lightest black"
            )
        return white, black


@dataclass(frozen=True, slots=True, kw_only=True)
class TilePlace:
    """One tile: its number, where it lies on the wall from 0, and its dots of the picture."""

    number: int
    row: int
    column: int
    rows: slice
    columns: slice


@dataclass(frozen=True, slots=True, kw_only=True)
class WallDots:
    """The dots of a whole wall, joints included; every tile has as many."""

    wall: Wall
    spacing_mm: float

    @property
    def columns(self) -> int:
        """Dots across."""
        return self._first(self.wall.columns - 1, self.wall.tile_width_mm) + self._across

    @property
    def rows(self) -> int:
        """Dots down."""
        return self._first(self.wall.rows - 1, self.wall.tile_height_mm) + self._down

    @property
    def _across(self) -> int:
        return max(1, round(self.wall.tile_width_mm / self.spacing_mm))

    @property
    def _down(self) -> int:
        return max(1, round(self.wall.tile_height_mm / self.spacing_mm))

    def _first(self, number: int, side_mm: float) -> int:
        """Return the first dot of a tile: within half a dot of its place on the wall."""
        return round(number * (side_mm + self.wall.joint_mm) / self.spacing_mm)

    def course(self, row: int) -> tuple[TilePlace, ...]:
        """Return the tiles of one course, counted from 0 at the top, from the left."""
        top = self._first(row, self.wall.tile_height_mm)
        return tuple(
            TilePlace(
                number=row * self.wall.columns + column + 1,
                row=row,
                column=column,
                rows=slice(top, top + self._down),
                columns=slice(left, left + self._across),
            )
            for column in range(self.wall.columns)
            for left in (self._first(column, self.wall.tile_width_mm),)
        )

    def places(self) -> Iterator[TilePlace]:
        """Yield every tile, by its number."""
        for row in range(self.wall.rows):
            yield from self.course(row)


def as_weak(
    mural: Mural, places: list[TilePlace], wanted: Floats, first_row: int, first_column: int = 0
) -> Floats:
    """Return the shares that make every tile reflect what the weakest does, 0 to 1.

    `wanted` are shares of a part of the picture that begins at `first_row` and `first_column`. A
    place that shall reflect R on a tile of white W and black B needs the share (W - R) / (W - B)
    (Murray-Davies).
    """
    weakest = mural.weakest
    if weakest is None:
        return wanted
    white, black = weakest
    shades = {shade.number: shade for shade in mural.shades}
    for place in places:
        shade = shades.get(place.number)
        top, end = place.rows.start - first_row, place.rows.stop - first_row
        left, right = place.columns.start - first_column, place.columns.stop - first_column
        if shade is None or min(end, right) <= 0:
            continue
        part = wanted[max(0, top) : end, max(0, left) : right]
        reflects = white - part * np.float32(white - black)
        part[:] = np.clip((shade.white - reflects) / (shade.white - shade.black), 0, 1)
    return wanted
