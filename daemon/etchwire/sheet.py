"""The job sheet: everything a prepared file says about itself, beside its G-code.

Whoever prepares a job writes the sheet, the daemon and the page read it; this is its one
definition. On disk a job is a folder with `job.gcode`, `job.json` and `expected.png`.
"""

import json
import re
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Final, Self, TypeVar

from etchwire.catalogue.heads import Head, Recipe
from etchwire.errors import UnreadableSheet
from etchwire.plain import require_positive, require_types
from etchwire.transport.json_text import JsonList, JsonTable

_SHA256: Final = re.compile("[0-9a-f]{64}")
_Part = TypeVar("_Part", "Photo", "Bounds", "Original", "CardSettings", "TilePart")

FORMAT: Final = "etchwarden-job"
VERSION: Final = 1
GCODE_NAME: Final = "job.gcode"
SHEET_NAME: Final = "job.json"
PICTURE_NAME: Final = "expected.png"
FOREIGN: Final = "another program's file"  # in place of a halftone: its rows are no scan lines


@dataclass(frozen=True, slots=True)
class RowEntry:
    """Where one etched row of the picture stands in the G-code.

    `row` counts from 0 at the top of the picture; rows without a dot have no entry. `line`
    (from 1) and `byte` (from 0) are those of the row's first line, and the row reaches to the
    next entry's. `from_mm` and `to_mm` are where the head starts its run-up and ends its
    run-out, in the job's own coordinates; `at_s` is the predicted time at its first line.
    """

    row: int
    line: int
    byte: int
    y_mm: float
    from_mm: float
    to_mm: float
    at_s: float


_ROW_ENTRY: Final = tuple(field.name for field in fields(RowEntry))


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """A rectangle in the job's own coordinates, millimetres."""

    left_mm: float
    bottom_mm: float
    right_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """The picture a job was made from: its file name and what the file held."""

    name: str
    sha256: str
    width_px: int
    height_px: int


def tidied_words(lines: int) -> str:
    """Return what a person reads of a file of which so many lines were tidied."""
    return (
        f"{lines} {'line' if lines == 1 else 'lines'}: blanks, comments, line numbers and the like"
        " are not sent; nothing that moves or burns was changed"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Original:
    """Another program's file as it was given: its name, its hash, how many lines were tidied."""

    name: str
    sha256: str
    tidied_lines: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSettings:
    """The lowest and the highest speed and power on a test card."""

    low_feed_mm_per_min: float
    high_feed_mm_per_min: float
    low_power_ratio: float
    high_power_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TilePart:
    """One tile of a job of several: its pocket in the jig, its rows, where its picture lies.

    Rows are numbered through over the whole job: `rows` of them from `first_row` on are this
    tile's. `item` is that of an order, 0 for none.
    """

    pocket: int
    title: str
    first_row: int
    rows: int
    columns: int
    coverage: float
    picture: Bounds
    item: int = 0

    @property
    def end_row(self) -> int:
        """The first row behind its own."""
        return self.first_row + self.rows

    def require_fit(self) -> None:
        """Refuse figures that are those of no tile; raise UnreadableSheet."""
        if not 0 <= self.coverage <= 1 or self.item < 0:
            raise UnreadableSheet("a tile of the sheet has a coverage or an item that cannot be")
        for name in ("pocket", "rows", "columns"):
            require_positive(f"a tile's {name}", getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a prepared file is, what it was made from and what it will do.

    A job of several tiles has a part for each. Its picture is theirs one above the other, the
    first at the top: `width_mm`, `height_mm`, rows, columns and coverage are that picture's, and
    `picture` is the rectangle on the bed that holds them all.
    """

    title: str
    photo: Photo | None
    width_mm: float
    height_mm: float
    rows: int
    columns: int
    head: Head
    recipe: Recipe
    halftone: str
    is_both_directions: bool
    coverage: float  # share of the picture's area that is burnt, 0 to 1
    dose_j_per_mm2: float
    picture: Bounds
    motion: Bounds  # everywhere the head goes, run-ups and parking included
    predicted_s: float
    gcode_sha256: str
    gcode_bytes: int
    gcode_lines: int
    end_line: int  # first line after the last row: beam off and parking
    index: tuple[RowEntry, ...]
    original: Original | None = None  # of which the G-code is a tidied copy
    open_shadows: float = 0.0  # 0 to 100: how far the photo's shadows were opened
    card: CardSettings | None = None  # of a test card, whose patches are compared
    parts: tuple[TilePart, ...] = ()  # of a job of several tiles, in the order of etching

    @property
    def is_foreign(self) -> bool:
        """Whether rows are stretches of a file that other software wrote."""
        return self.halftone == FOREIGN

    def part_of_row(self, row: int) -> TilePart | None:
        """Return the tile that a row belongs to; None in a job of one tile."""
        return next((part for part in self.parts if row < part.end_row), None)

    def end_of_part_s(self, part: TilePart) -> float:
        """Return the predicted second at which the last row of a tile is done."""
        following = (entry.at_s for entry in self.index if entry.row >= part.end_row)
        return next(following, self.predicted_s)

    def place_words(self, row: int) -> str:
        """Return which tile a row belongs to, in words; empty in a job of one tile."""
        part = self.part_of_row(row)
        if part is None:
            return ""
        return (
            f"That is row {row - part.first_row + 1} of tile {self.parts.index(part) + 1} of "
            f"{len(self.parts)}, in pocket {part.pocket} ({part.title})."
        )

    def to_json(self) -> str:
        """Return the sheet as the JSON text that `from_json` reads."""
        table = asdict(replace(self, index=()))  # which is long, and plain
        if self.original is None:
            del table["original"]
        if self.card is None:
            del table["card"]
        if not self.open_shadows:
            del table["open_shadows"]
        if not self.parts:
            del table["parts"]
        table["index"] = [[getattr(entry, name) for name in _ROW_ENTRY] for entry in self.index]
        return json.dumps({"format": FORMAT, "version": VERSION, **table}, allow_nan=False)

    @classmethod
    def from_json(cls, text: str | bytes) -> Self:
        """Read a sheet; raise UnreadableSheet, with a sentence, for anything that is not one."""
        try:
            table = json.loads(text, parse_constant=_refuse_constant)
        except (ValueError, RecursionError) as error:
            raise UnreadableSheet(f"the job sheet is not readable JSON: {error}") from error
        if not isinstance(table, dict) or table.get("format") != FORMAT:
            raise UnreadableSheet("this is not a job sheet of ours")
        if table.get("version") != VERSION:
            version = table.get("version")
            raise UnreadableSheet(
                f"the sheet is of version {version!r}; this program reads {VERSION}"
            )
        try:
            return cls(**_parts(table))
        except (TypeError, KeyError, AttributeError, OverflowError) as error:
            raise UnreadableSheet(f"the job sheet is incomplete: {error}") from error

    def __post_init__(self) -> None:
        """Refuse a sheet whose numbers contradict one another."""
        require_types("the sheet", self)
        for name in ("width_mm", "height_mm", "rows", "columns", "gcode_bytes", "gcode_lines"):
            require_positive(f"the sheet's {name}", getattr(self, name))
        if not 0 <= self.coverage <= 1 or self.predicted_s < 0:
            raise UnreadableSheet("the sheet's coverage or predicted time makes no sense")
        if not 0 <= self.open_shadows <= 100:
            raise UnreadableSheet("the sheet's shadows can be opened by 0 to 100")
        if not 1 <= self.end_line <= self.gcode_lines:
            raise UnreadableSheet("the rows of the job sheet end outside the G-code")
        if _SHA256.fullmatch(self.gcode_sha256) is None:
            raise UnreadableSheet("the sheet does not name its G-code by its SHA-256")
        if any(entry.row >= self.rows for entry in self.index):
            raise UnreadableSheet("a row of the job sheet is none of the picture's")
        lines = [entry.line for entry in self.index] + [self.end_line]
        starts = [entry.byte for entry in self.index] + [self.gcode_bytes]
        if lines != sorted(set(lines)) or starts != sorted(set(starts)):
            raise UnreadableSheet("the rows of the job sheet are out of order")
        self._require_parts()

    def _require_parts(self) -> None:
        """Refuse tiles that leave a row out, share one, or lie in the same pocket."""
        if not self.parts:
            return
        for part in self.parts:
            part.require_fit()
        begins = [part.first_row for part in self.parts]
        ends = [part.end_row for part in self.parts]
        if begins != [0, *ends[:-1]] or ends[-1] != self.rows:
            raise UnreadableSheet("the tiles of the job sheet do not share out its rows")
        if len({part.pocket for part in self.parts}) < len(self.parts):
            raise UnreadableSheet("two tiles of the job sheet lie in one pocket")


def _parts(table: JsonTable) -> JsonTable:
    parts = {name: value for name, value in table.items() if name not in ("format", "version")}
    photo, original, card = parts["photo"], parts.get("original"), parts.get("card")
    return parts | {
        "original": None if original is None else _part(Original, original),
        "photo": None if photo is None else _part(Photo, photo),
        "card": None if card is None else _part(CardSettings, card),
        "head": Head.from_table(parts["head"]),
        "recipe": Recipe.from_table(parts["recipe"]),
        "picture": _part(Bounds, parts["picture"]),
        "motion": _part(Bounds, parts["motion"]),
        "index": tuple(_row_entry(values) for values in parts["index"]),
        "parts": tuple(_tile_part(tile) for tile in parts.get("parts", ())),
    }


def _tile_part(table: JsonTable) -> TilePart:
    return _part(TilePart, {**table, "picture": _part(Bounds, table["picture"])})


def _part(kind: type[_Part], table: JsonTable) -> _Part:
    part = kind(**table)
    require_types(f"the sheet's {kind.__name__.lower()}", part)
    return part


def _row_entry(values: JsonList) -> RowEntry:
    if len(values) != len(RowEntry.__slots__):
        raise UnreadableSheet("a row of the job sheet has the wrong number of entries")
    entry = RowEntry(*values)
    require_types("a row", entry)
    if entry.row < 0 or entry.line < 1 or entry.byte < 0:
        raise UnreadableSheet("a row of the job sheet points outside the job")
    return entry


def _refuse_constant(name: str) -> float:
    raise UnreadableSheet(f"{name} is not a number a job can use")


def read_sheet(folder: Path) -> Sheet:
    """Read the sheet of the job in `folder`; raise UnreadableSheet when there is none."""
    try:
        text = (folder / SHEET_NAME).read_bytes()
    except OSError as error:
        raise UnreadableSheet(f"no job sheet can be read in {folder}: {error.strerror}") from error
    return Sheet.from_json(text)
