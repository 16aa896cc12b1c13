"""What the logbook keeps of the craft: surfaces, recipes, cards, readings and verdicts.

They travel as tables whose entries have these names, as `etchwire.catalogue.heads` does it.
"""

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

from etchwire.catalogue.dot import Dot
from etchwire.catalogue.heads import Recipe
from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_types
from etchwire.transport.json_text import JsonTable

COATINGS: Final = ("", "spray", "airbrush", "roller", "brush")
WIPINGS: Final = ("", "lightly", "firmly", "hard")
CARD_KINDS: Final = ("power", "tone", "register", "check", "focus", "spacing")
WAYS: Final = ("camera", "hand", "both")
ORIGINS: Final = ("card", "reading", "hand", "practice")
GOOD: Final = "good"
UNRATED: Final = "unrated"  # a run without a verdict, where runs are sought
VERDICTS: Final = (
    GOOD, "pale", "patchy", "banded", "doubled", "shifted", "rubbed off", "glaze damaged",
    "broken", "cracked or chipped", "fault in the coat", "our mistake",
)  # fmt: skip

NAME_LIMIT: Final = 80
TEXT_LIMIT: Final = 1_000
PACKED_LIMIT: Final = 24_000
DETAILS_LIMIT: Final = 8_000
CURVE_POINTS_LIMIT: Final = 129
COATS_LIMIT: Final = 20
LONGEST_WAIT_MIN: Final = 100_000  # ten weeks
LARGEST_TILE_MM: Final = 2_000
ROUNDING_MM: Final = 1e-6
_SHA256: Final = re.compile("[0-9a-f]{64}")
DATE: Final = re.compile(r"(\d{4}-\d\d-\d\d)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface(Plain):
    """Tile and paint as they are now: the next box of tiles is written over the last."""

    name: str
    tile: str = ""
    batch: str = ""
    paint: str = ""
    can: str = ""
    coating: str = ""
    coats: int = 0  # 0: not known
    coated_on: str = ""  # a date, 2026-11-25
    notes: str = ""
    solvent: str = ""  # what it is wiped with, as water or thinner
    cloth: str = ""
    wait_min: float = 0.0  # between etching and wiping; 0: not known
    wiping: str = ""  # how hard
    lot: str = ""  # the painting lot that is in use; empty: nobody counts lots

    def __post_init__(self) -> None:
        """Refuse what says nothing or too much."""
        require_types("the surface", self)
        require_name("surface", self.name)
        for name in ("tile", "batch", "paint", "can", "solvent", "cloth", "lot"):
            require_short(f"the surface's {name}", getattr(self, name), NAME_LIMIT)
        require_short("the surface's notes", self.notes, TEXT_LIMIT)
        require_one_of("the coating", self.coating, COATINGS)
        require_one_of("how hard it is wiped", self.wiping, WIPINGS)
        if not 0 <= self.wait_min <= LONGEST_WAIT_MIN:
            raise UnreadableSheet(f"{self.wait_min:g} minutes are no time to wait before wiping")
        if not 0 <= self.coats <= COATS_LIMIT:
            raise UnreadableSheet(f"{self.coats} coats of paint are no number of coats")
        if not DATE.fullmatch(self.coated_on):
            raise UnreadableSheet(
                f"coated on {self.coated_on!r:.40} is no date: write it as 2026-11-25"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve(Plain):
    """A tone curve as it is kept: shares wanted from 0 to 1, and the share to burn for each.

    `dot` is the table of a Dot, as the same card told it.
    """

    wanted: Sequence[float]
    to_burn: Sequence[float]
    dot: JsonTable | None = None

    def __post_init__(self) -> None:
        """Refuse what does not say one thing for every share."""
        for shares in (self.wanted, self.to_burn):
            if not isinstance(shares, (list, tuple)) or not all(_is_share(s) for s in shares):
                raise UnreadableSheet("a tone curve is made of shares from 0 to 1")
        is_even = len(self.wanted) == len(self.to_burn)
        if not is_even or not 2 <= len(self.wanted) <= CURVE_POINTS_LIMIT:
            raise UnreadableSheet("a tone curve has 2 to 129 points, each wanted and to burn")
        rises = all(low < high for low, high in pairwise(self.wanted))
        never_falls = all(low <= high for low, high in pairwise(self.to_burn))
        if not (rises and never_falls and self.wanted[0] == 0 and self.wanted[-1] == 1):
            raise UnreadableSheet("a tone curve rises from 0 to 1 and never falls")
        if self.dot is not None:
            Dot.from_table(_table("the dot", self.dot))


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeRecord(Plain):
    """A recipe to be kept: it belongs to one head and one surface, by their names."""

    head: str
    surface: str
    feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    air_assist: bool = False
    halftone: str = ""
    tone_curve: JsonTable | None = None
    origin: str = "hand"
    reading: int | None = None

    def __post_init__(self) -> None:
        """Refuse what no laser can run."""
        require_types("the recipe", self)
        require_one_of("a recipe's origin", self.origin, ORIGINS)
        require_short("the halftone", self.halftone, NAME_LIMIT)
        self.settings()
        if self.tone_curve is not None:
            Curve.from_table(_table("the tone curve", self.tone_curve))
        if self.reading is not None and not _is_whole(self.reading):
            raise UnreadableSheet(f"a reading is not numbered {self.reading!r:.40}")

    def settings(self) -> Recipe:
        """Return what a job needs of it."""
        return Recipe(
            surface=self.surface,
            feed_mm_per_min=self.feed_mm_per_min,
            power_ratio=self.power_ratio,
            line_spacing_mm=self.line_spacing_mm,
            air_assist=self.air_assist,
        )


def with_own_figures(recipe: JsonTable, figures: Mapping[str, float]) -> dict[str, object]:
    """Return a recommended recipe with a person's own `figures`.

    Other figures than the card was etched with leave its tone curve out: it holds for those alone.
    """
    changed = {**recipe, **figures}
    if any(not math.isclose(recipe[name], value) for name, value in figures.items()):
        changed.pop("tone_curve", None)
    return changed


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRecord(Plain):
    """A card to be kept; `layout_packed` is `etchproof.card.Card.to_json`, packed.

    `place` is the table of the `SparePlace` that it takes of a spare tile, None where nobody said.
    """

    number: int
    kind: str
    head: str
    surface: str
    gcode_sha256: str
    layout_packed: str
    place: JsonTable | None = None

    def __post_init__(self) -> None:
        """Refuse what is no card."""
        require_types("the card", self)
        require_one_of("the kind of card", self.kind, CARD_KINDS)
        if not 1 <= self.number <= 2**31:
            raise UnreadableSheet(f"cards are numbered from 1, not {self.number}")
        if not _SHA256.fullmatch(self.gcode_sha256):
            raise UnreadableSheet("the card's G-code is not named by its SHA-256")
        require_short("the card's description", self.layout_packed, PACKED_LIMIT)
        if self.place is not None:
            SparePlace.from_table(_table("the card's place", self.place))


@dataclass(frozen=True, slots=True, kw_only=True)
class SparePlace(Plain):
    """A rectangle of a spare tile, from its upper left corner as it lies; `tile` is its name."""

    tile: str
    tile_width_mm: float
    tile_height_mm: float
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        """Refuse a rectangle that does not lie on its tile."""
        require_types("the place", self)
        require_name("spare tile", self.tile)
        is_on_tile = (
            0 <= self.left_mm < self.left_mm + self.width_mm <= self.tile_width_mm + ROUNDING_MM
            and 0 <= self.top_mm < self.top_mm + self.height_mm <= self.tile_height_mm + ROUNDING_MM
        )
        if not (is_on_tile and max(self.tile_width_mm, self.tile_height_mm) <= LARGEST_TILE_MM):
            raise UnreadableSheet(f"the card's place does not lie on the spare tile {self.tile}")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRecord(Plain):
    """What a card showed; `measured_packed` is `etchproof.reading.values.Reading.to_json`, packed.

    `marks` are words by patch; `photos` name what the page keeps; `summary` holds single figures
    for the time line, among them `lightness_at_recipe`; `recommended` is None where nothing was.
    """

    card: int
    way: str
    measured_packed: str = ""
    marks: JsonTable = field(default_factory=dict)
    photos: Sequence[str] = ()
    summary: JsonTable = field(default_factory=dict)
    recommended: JsonTable | None = None

    def __post_init__(self) -> None:
        """Refuse what is no reading."""
        require_types("the reading", self)
        require_one_of("the way it was read", self.way, WAYS)
        require_short("what was measured", self.measured_packed, PACKED_LIMIT)
        for name in ("marks", "photos", "summary", "recommended"):
            require_short(f"the reading's {name}", json.dumps(getattr(self, name)), DETAILS_LIMIT)
        _table("the marks", self.marks)
        _table("the summary", self.summary)
        if self.recommended is not None:
            _table("what is recommended", self.recommended)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRecord(Plain):
    """What the wiped tile of a run looked like."""

    run: int
    verdict: str
    cause: str = ""
    note: str = ""
    photo: str = ""
    pocket: int | None = None  # of one tile of several

    def __post_init__(self) -> None:
        """Refuse a word that nobody could count."""
        require_types("the verdict", self)
        require_one_of("a verdict", self.verdict, VERDICTS)
        for name in ("cause", "note", "photo"):
            require_short(f"the verdict's {name}", getattr(self, name), TEXT_LIMIT)


def require_name(owner: str, name: str) -> None:
    """Raise UnreadableSheet for a name under which nobody could file anything."""
    if not name.strip() or name != name.strip() or not name.isprintable() or len(name) > NAME_LIMIT:
        raise UnreadableSheet(
            f"{name!r:.100} is no name of a {owner}: write 1 to {NAME_LIMIT} plain characters"
        )


def require_short(owner: str, text: str, limit: int) -> None:
    """Raise UnreadableSheet for a text that is longer than the logbook keeps."""
    if len(text) > limit:
        raise UnreadableSheet(f"{owner} may have {limit} characters, not {len(text)}")


def require_one_of(owner: str, word: str, words: Sequence[str]) -> None:
    """Raise UnreadableSheet unless `word` is one of `words`."""
    if word not in words:
        choices = ", ".join(word for word in words if word)
        raise UnreadableSheet(f"{owner} cannot be {word!r:.40}: say one of {choices}")


def _table(owner: str, value: object) -> JsonTable:
    if not isinstance(value, Mapping):
        raise UnreadableSheet(f"{owner} must be a table, not {value!r:.40}")
    return value


def _is_share(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value <= 1


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value <= 2**53
