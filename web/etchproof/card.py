"""A card: what is etched where on it and with which settings, as plain values.

Places are dots, one line spacing wide, counted from the card's top left corner: the card is a
picture like any other, and its description is enough to draw it again.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Final, Self

from etchproof.errors import UnreadableCard
from etchwire.catalogue.heads import Head, Recipe
from etchwire.errors import UnreadableSheet

FORMAT: Final = "etchwarden-card"
VERSION: Final = 1
CARD_NAME: Final = "card.json"  # beside the job's own files

POWER: Final = "power"
TONE: Final = "tone"
REGISTER: Final = "register"
FOCUS: Final = "focus"
SPACING: Final = "spacing"
CHECK: Final = "check"
KINDS: Final = (POWER, TONE, REGISTER, FOCUS, SPACING, CHECK)
WITHOUT_RECIPE: Final = (POWER, FOCUS)  # can be laid out for a laser that nobody knows yet

BED_PLACES: Final = ("centre", "front left", "front right", "back left", "back right")
PLACE_NAMES: Final = {  # of a reserve card's patches, by the number in their names
    1: "top left", 2: "top right", 3: "the centre", 4: "bottom left", 5: "bottom right",
}  # fmt: skip

REALLY_RUN: Final = 0.95  # below this share of the speed asked for, a recipe was not run

UNGLAZED_BACK: Final = (  # common practice, no source
    "the unglazed back takes no card: its bare clay soaks up the paint and reads as another "
    "surface, so what it shows says nothing of the glazed side; turn the tile over"
)

SOLID: Final = "solid"
HALFTONE: Final = "halftone"
ROW_LINES: Final = "lines along the rows"  # single rows, `coverage` of all
COLUMN_LINES: Final = "lines across the rows"  # single dots, one below the other


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of dots; `bottom` and `right` are the first row and column outside it."""

    top: int
    left: int
    bottom: int
    right: int

    @classmethod
    def at(cls, top: int, left: int, height: int, width: int) -> Self:
        """Return a rectangle by its upper left dot and its size."""
        return cls(top, left, top + height, left + width)

    @property
    def rows(self) -> slice:
        """Its rows, top to bottom."""
        return slice(self.top, self.bottom)

    @property
    def columns(self) -> slice:
        """Its columns, left to right."""
        return slice(self.left, self.right)

    @property
    def height(self) -> int:
        """How many rows it has."""
        return self.bottom - self.top

    @property
    def width(self) -> int:
        """How many columns it has."""
        return self.right - self.left

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.height, self.width


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A rectangle etched evenly with one setting.

    `cell` is what a person taps on: a power card's cell has a solid patch and a halftone one.
    `true_feed_mm_per_min` is what the motion model says the head does there while it burns. Its
    lines lie `rows_apart` rows of the card apart, and its dots are as wide.
    """

    cell: str
    part: str
    area: Area
    coverage: float
    feed_mm_per_min: float
    power_ratio: float
    true_feed_mm_per_min: float
    rows_apart: int = 1

    @classmethod
    def of(
        cls,
        recipe: Recipe,
        cell: str,
        area: Area,
        *,
        part: str = SOLID,
        coverage: float = 1.0,
        feed_mm_per_min: float | None = None,
    ) -> Self:
        """Return a patch with the power of `recipe`, and its speed where no other is given."""
        feed = recipe.feed_mm_per_min if feed_mm_per_min is None else feed_mm_per_min
        return cls(
            cell=cell,
            part=part,
            area=area,
            coverage=coverage,
            feed_mm_per_min=feed,
            power_ratio=recipe.power_ratio,
            true_feed_mm_per_min=feed,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """One of the four squares in the corners, `corner` counted as in `markers.CORNERS`."""

    code: int
    corner: int
    area: Area


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text; `area` is all it may cover, with the pen's width."""

    text: str
    area: Area


@dataclass(frozen=True, slots=True, kw_only=True)
class HairlinePair:
    """A hairline burnt to the right and, below it, one burnt to the left.

    Each lands a little too far along its own way. The lower one is told to lie `offset_mm`
    further right, so it meets the upper one where that is how far the two land apart. `left_mm`
    is where the upper one is told to begin.
    """

    number: int
    offset_mm: float
    left_mm: float
    width_mm: float
    upper: Area
    lower: Area
    feed_mm_per_min: float
    power_ratio: float
    true_feed_mm_per_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wedge:
    """How a tile lies that is packed up at its left and right ends.

    `left_mm` and `right_mm` are how high its underside stands there, `length_mm` is from end to
    end, and the card begins `start_mm` from the left end. `bed_place` is where on the bed that is.
    """

    left_mm: float
    right_mm: float
    length_mm: float
    start_mm: float = 0.0
    bed_place: str = ""

    def height_mm(self, x_mm: float) -> float:
        """Return how high the tile lies `x_mm` from the card's left edge."""
        share = (self.start_mm + x_mm) / self.length_mm
        return self.left_mm + (self.right_mm - self.left_mm) * share

    def turned_round(self) -> "Wedge":
        """Return the same wedge with its ends exchanged."""
        return replace(self, left_mm=self.right_mm, right_mm=self.left_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """Everything about a card that is needed to etch it, to read it and to file it.

    `recipe` is the setting of markers and labels: of a power card its strongest one, of the
    others the recipe in force. Their lines lie `rows_apart` rows apart: a spacing card's rows are
    closer than lines, so that lines can lie so and so far apart.
    """

    kind: str
    number: int
    head: Head
    recipe: Recipe
    halftone: str
    is_both_directions: bool
    rows: int
    columns: int
    markers: tuple[Marker, ...]
    labels: tuple[Label, ...] = ()
    patches: tuple[Patch, ...] = ()
    hairlines: tuple[HairlinePair, ...] = ()
    notes: tuple[str, ...] = ()  # sentences for the person, such as why a range was cut short
    wedge: Wedge | None = None  # of a focus card
    rows_apart: int = 1

    @property
    def spacing_mm(self) -> float:
        """The width of a dot."""
        return self.recipe.line_spacing_mm / self.rows_apart

    @property
    def width_mm(self) -> float:
        """The card's width, with its bare margin."""
        return self.columns * self.spacing_mm

    @property
    def height_mm(self) -> float:
        """The card's height, with its bare margin."""
        return self.rows * self.spacing_mm

    @property
    def settings(self) -> dict[str, Any]:
        """Its recipe without what it belongs to, as `accept_reading` takes it."""
        settings = self.recipe.to_table()
        del settings["surface"]
        return settings | {"halftone": self.halftone}

    def cells(self) -> Mapping[str, tuple[Patch, ...]]:
        """Return the patches of each cell, in the card's order."""
        cells: dict[str, tuple[Patch, ...]] = {}
        for patch in self.patches:
            cells[patch.cell] = (*cells.get(patch.cell, ()), patch)
        return cells

    def to_json(self) -> str:
        """Return the card as the JSON text that `from_json` reads."""
        table = {"format": FORMAT, "version": VERSION, **asdict(self)}
        return json.dumps(table, allow_nan=False)

    @classmethod
    def from_json(cls, text: str | bytes) -> Self:
        """Read a card; raise UnreadableCard, with a sentence, for anything that is not one."""
        try:
            table = json.loads(text, parse_constant=_refuse_constant)
        except (ValueError, RecursionError) as error:
            raise UnreadableCard(f"the card's description is not readable JSON: {error}") from error
        if not isinstance(table, dict) or table.get("format") != FORMAT:
            raise UnreadableCard("this is not the description of a card of ours")
        if table.get("version") != VERSION:
            raise UnreadableCard(
                f"the card's description is of version {table.get('version')!r}; this program "
                f"reads {VERSION}"
            )
        try:
            return cls(**_parts(table))
        except (TypeError, KeyError, AttributeError, ValueError, UnreadableSheet) as error:
            raise UnreadableCard(f"the card's description is incomplete: {error}") from error


def _parts(table: Mapping[str, Any]) -> dict[str, Any]:
    parts = {name: value for name, value in table.items() if name not in ("format", "version")}
    if parts["kind"] not in KINDS:
        raise ValueError(f"there is no kind of card {parts['kind']!r}")
    return parts | {
        "head": Head.from_table(parts["head"]),
        "recipe": Recipe.from_table(parts["recipe"]),
        "markers": tuple(_with_areas(Marker, parts["markers"])),
        "labels": tuple(_with_areas(Label, parts["labels"])),
        "patches": tuple(_with_areas(Patch, parts["patches"])),
        "hairlines": tuple(_with_areas(HairlinePair, parts["hairlines"])),
        "notes": tuple(parts["notes"]),
        "wedge": None if parts.get("wedge") is None else Wedge(**parts["wedge"]),
    }


def _with_areas(kind: Any, tables: Any) -> Iterator[Any]:
    for table in tables:
        yield kind(
            **{
                name: Area(**value) if isinstance(value, dict) else value
                for name, value in table.items()
            }
        )


def _refuse_constant(name: str) -> float:
    raise UnreadableCard(f"{name} is not a number a card can use")
