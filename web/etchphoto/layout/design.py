"""A design: what lies on a tile, in millimetres from its upper left corner, bottom layer first.

Each layer is laid over those before it. A mask clears whatever lies outside its shape in the
layers before it; a soft edge fades the photo alone, since lettering and lines have no greys.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final, TypeAlias

from etchphoto.errors import UnfitDesign

USUAL_MARGIN_MM: Final = 2.0  # our choice: tiles vary, and glaze thins towards their edges
LARGEST_MM: Final = 2000.0
MOST_LETTERS: Final = 500  # each line is drawn large to be measured
_HAIR_MM: Final = 1e-6  # sums of millimetres are not exact


class Shape(StrEnum):
    """What a mask leaves, and what an outline follows, within its box."""

    RECTANGLE = "rectangle"
    ROUNDED = "rounded"
    CIRCLE = "circle"  # the largest in the middle of the box
    OVAL = "oval"


class Ink(StrEnum):
    """What is drawn: dots burnt, or dots left white."""

    BURNT = "burnt"
    WHITE = "white"


class Align(StrEnum):
    """Where lines begin and end in their box."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


class Stand(StrEnum):
    """Where a block of lines stands in its box."""

    TOP = "top"
    MIDDLE = "middle"
    BOTTOM = "bottom"


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle on the tile."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        """Refuse what has no area."""
        for name in ("width_mm", "height_mm"):
            _require_mm(f"a box's {name}", getattr(self, name))
        for name in ("left_mm", "top_mm"):
            if not abs(getattr(self, name)) <= LARGEST_MM:
                raise UnfitDesign(f"a box's {name} cannot be {getattr(self, name)!r}")

    @property
    def right_mm(self) -> float:
        """Where it ends on the right."""
        return self.left_mm + self.width_mm

    @property
    def bottom_mm(self) -> float:
        """Where it ends at the bottom."""
        return self.top_mm + self.height_mm

    def grown(self, by_mm: float) -> "Box":
        """Return the box with each side so much further out."""
        return Box(
            left_mm=self.left_mm - by_mm,
            top_mm=self.top_mm - by_mm,
            width_mm=self.width_mm + 2 * by_mm,
            height_mm=self.height_mm + 2 * by_mm,
        )

    def holds(self, other: "Box") -> bool:
        """Whether `other` lies inside it."""
        return (
            other.left_mm >= self.left_mm - _HAIR_MM
            and other.top_mm >= self.top_mm - _HAIR_MM
            and other.right_mm <= self.right_mm + _HAIR_MM
            and other.bottom_mm <= self.bottom_mm + _HAIR_MM
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoLayer:
    """A photo with its look; which photo is said when the design is used.

    `crop` is left, top, right and bottom as shares of the turned photo. An empty halftone is
    chosen as for a photo alone. Without a box it fills the tile inside the margin.
    """

    box: Box | None = None
    crop: tuple[float, float, float, float] | None = None
    turn: int = 0
    halftone: str = ""
    brightness: float = 0.0
    contrast: float = 1.0
    gamma: float = 1.0
    open_shadows: float = 0.0
    local_contrast: float = 0.0
    sharpness: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LetteringLayer:
    """Lines of text in a box.

    Without a font it is DejaVu Sans, or Aileron, which has no accents, where that is missing.
    `size_mm` is the height of a capital letter; left out, the lines become as large as their box
    allows. `leading` is the distance from baseline to baseline in capital heights. With
    `field_mm` a rectangle of the other colour reaches so far beyond the letters. `name` is what
    another text is given by when the design is used again.
    """

    text: str
    font: str = ""
    size_mm: float | None = None
    box: Box | None = None
    align: Align = Align.CENTRE
    stand: Stand = Stand.MIDDLE
    leading: float = 1.8
    ink: Ink = Ink.BURNT
    field_mm: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        """Refuse what no letter has."""
        if self.size_mm is not None:
            _require_mm("the size of letters", self.size_mm)
        if self.field_mm is not None and not 0 <= self.field_mm <= LARGEST_MM:
            raise UnfitDesign(f"a field cannot reach {self.field_mm!r} mm beyond its letters")
        if not 0.5 <= self.leading <= 10:
            raise UnfitDesign(f"leading must be 0.5 to 10 capital heights, not {self.leading!r}")
        if not self.text.strip():
            raise UnfitDesign("lettering needs a text")
        if len(self.text) > MOST_LETTERS:
            raise UnfitDesign(f"lettering has {MOST_LETTERS} letters at most")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineLayer:
    """A line along a shape, all of it inside the shape."""

    shape: Shape
    line_mm: float
    box: Box | None = None
    corner_mm: float = 5.0
    ink: Ink = Ink.BURNT

    def __post_init__(self) -> None:
        """Refuse a line without width."""
        _require_mm("an outline's line_mm", self.line_mm)
        _require_mm("a corner's radius", self.corner_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskLayer:
    """The shape outside of which the layers before it are cleared.

    `soft_mm` is how far inside its edge the photo fades to white.
    """

    shape: Shape
    box: Box | None = None
    corner_mm: float = 5.0
    soft_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse an edge softer than a tile is large."""
        _require_mm("a corner's radius", self.corner_mm)
        if not 0 <= self.soft_mm <= LARGEST_MM:
            raise UnfitDesign(f"a soft edge cannot be {self.soft_mm!r} mm wide")


Layer: TypeAlias = PhotoLayer | LetteringLayer | OutlineLayer | MaskLayer

KINDS: Final[Mapping[str, type[Layer]]] = {
    "photo": PhotoLayer, "lettering": LetteringLayer, "outline": OutlineLayer, "mask": MaskLayer,
}  # fmt: skip


def kind_of(layer: Layer) -> str:
    """Return the word for a layer of this kind."""
    return next(word for word, kind in KINDS.items() if isinstance(layer, kind))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A tile's size, and how near to its edge nothing may lie."""

    width_mm: float
    height_mm: float
    margin_mm: float = USUAL_MARGIN_MM

    def __post_init__(self) -> None:
        """Refuse a tile without room."""
        _require_mm("the tile's width", self.width_mm)
        _require_mm("the tile's height", self.height_mm)
        if not 0 <= 2 * self.margin_mm < min(self.width_mm, self.height_mm):
            raise UnfitDesign(f"a margin of {self.margin_mm!r} mm leaves nothing of the tile")

    @property
    def inside(self) -> Box:
        """The tile without its margin."""
        return self.whole.grown(-self.margin_mm)

    @property
    def whole(self) -> Box:
        """All of the tile."""
        return Box(left_mm=0, top_mm=0, width_mm=self.width_mm, height_mm=self.height_mm)

    def require_inside(self, box: Box, what: str) -> None:
        """Raise UnfitDesign where `box` leaves the tile or its margin; `what` lies there."""
        room = self.inside
        if room.holds(box):
            return
        raise UnfitDesign(
            f"{what} lies outside the tile: it reaches from {box.left_mm:.4g} to "
            f"{box.right_mm:.4g} mm across and from {box.top_mm:.4g} to {box.bottom_mm:.4g} mm "
            f"down, but inside its margin the tile has room from {room.left_mm:g} to "
            f"{room.right_mm:g} mm across and from {room.top_mm:g} to {room.bottom_mm:g} mm down"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A tile and the layers on it.

    Raise UnfitDesign for a layer that leaves the tile, and for more than one photo.
    """

    name: str
    tile: Tile
    layers: tuple[Layer, ...]

    def __post_init__(self) -> None:
        """Refuse what the tile cannot hold."""
        if not self.layers:
            raise UnfitDesign("the design has no layer: add a photo, lettering or an outline")
        if sum(isinstance(layer, PhotoLayer) for layer in self.layers) > 1:
            raise UnfitDesign("a design has one photo at most")
        for number, layer in enumerate(self.layers, 1):
            self.tile.require_inside(self.box_of(layer), called(layer, number))

    @property
    def photo(self) -> PhotoLayer | None:
        """The layer that a photo is needed for."""
        return next((layer for layer in self.layers if isinstance(layer, PhotoLayer)), None)

    def box_of(self, layer: Layer) -> Box:
        """Return where a layer lies."""
        return layer.box or self.tile.inside

    def with_text(self, name: str, text: str) -> "Design":
        """Return the design with another text in the lettering of this name."""
        names = [layer.name for layer in self.layers if isinstance(layer, LetteringLayer)]
        if not name or name not in names:
            known = ", ".join(filter(None, names)) or "no lettering of it has a name"
            raise UnfitDesign(f"no lettering of this design is called {name!r}: {known}")
        return replace(
            self,
            layers=tuple(
                replace(layer, text=text)
                if isinstance(layer, LetteringLayer) and layer.name == name
                else layer
                for layer in self.layers
            ),
        )


def called(layer: Layer, number: int) -> str:
    """Return what a person reads of a layer, counted from 1."""
    return f"layer {number} ({kind_of(layer)})"


def _require_mm(what: str, value: float) -> None:
    if not (math.isfinite(value) and 0 < value <= LARGEST_MM):
        raise UnfitDesign(f"{what} must be above 0 and at most {LARGEST_MM:g} mm, not {value!r}")
