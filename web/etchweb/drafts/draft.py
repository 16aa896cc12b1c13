"""A draft: what has been decided about one picture on its way to a job."""

import json
from dataclasses import asdict, dataclass, fields, replace
from hashlib import sha256
from pathlib import Path
from typing import Final, Self

from etchphoto.grey_mixes import EYE
from etchweb.drafts.decoration import NOTHING_ADDED, Decoration
from etchweb.drafts.halftones import SMOOTH
from etchwire.calls.json_values import from_json_value
from etchwire.catalogue.heads import Head, Recipe
from etchwire.errors import UnreadableSheet
from etchwire.transport.json_text import JsonTable

# Contrast and gamma double over so many of a slider's hundred steps; so does static/drafts/tone.js.
STEPS_TO_DOUBLE: Final = 60
_RENDERINGS: Final = 4  # goes up when the child leaves other pictures to choose from

_NOT_SEEN: Final = frozenset((
    "id", "name", "called", "head", "recipe", "tone", "chosen", "caution", "is_halftone_chosen",
    "at_x_mm", "at_y_mm", "order", "item", "shades", "earlier_wall",
))  # fmt: skip

# A yes that was given before drafts had these is one to the same picture without them.
_CAME_LATER: Final = frozenset(("is_sign", "wall", "has_number", "shades", "earlier_wall"))

TAKEN_OVER: Final = (
    "width_mm", "height_mm", "head", "recipe", "tone", "chosen", "caution", "halftone",
    "is_halftone_chosen", "lighter", "contrast", "local_contrast", "sharpness", "open_shadows",
    "grey_mix", "fade", "decoration", "wall",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What has been decided about one picture so far; None for what has not.

    The crop is in shares of the turned and mirrored photo, from its top left, and so is the oval
    to lighten: its centre, half width and half height. The tones are as the page's sliders stand,
    -100 or 0 to 100.
    """

    id: str
    name: str
    called: str = ""  # by a person; else the photo's name
    quarters: int = 0
    is_mirrored: bool = False  # after the turn
    is_sign: bool = False  # lettering and lines alone: it has no photo
    wall: tuple[int, int, float] | None = None  # tiles across and down, joint in mm: a mural
    earlier_wall: str = ""  # the draft of the wall that it was begun again from
    shades: tuple[tuple[int, float], ...] = ()  # a mural's tiles of another white: by how much, L*
    crop: tuple[float, float, float, float] | None = None
    width_mm: float | None = None  # of the picture; of one tile where it covers a wall
    height_mm: float | None = None
    head: Head | None = None
    recipe: Recipe | None = None
    tone: JsonTable | None = None  # the recipe whose greys were measured, as told
    chosen: tuple[str, str] | None = None  # laser, tile and paint: by their keys on the form
    caution: str = ""  # why the recipe may no longer fit
    halftone: str = SMOOTH
    is_halftone_chosen: bool = False  # by a person, or by a recipe or a tile that was good
    lighter: int = 0
    contrast: int = 0
    local_contrast: int = 0
    sharpness: int = 0
    open_shadows: int = 0
    grey_mix: str = EYE
    oval: tuple[float, float, float, float] | None = None
    face_light: int = 0
    fade: int = 0
    decoration: Decoration = NOTHING_ADDED
    at_x_mm: float | None = None
    at_y_mm: float | None = None
    order: int | None = None  # for which it is made, and for which item of it
    item: int | None = None
    has_number: bool = False  # its order's, small, in the lower right corner

    @property
    def title(self) -> str:
        """What to call the picture: as a person said, or the photo's name without its ending."""
        return self.called or Path(self.name).stem or self.name

    @property
    def is_plain(self) -> bool:
        """Whether nothing was added to its photo."""
        return self.decoration.is_plain and not self.has_number

    @property
    def tried_key(self) -> str:
        """What the renderings to choose from depend on."""
        recipe = self.recipe and self.recipe.to_table()
        turn = (self.quarters, self.is_mirrored)
        size_mm = self.picture_mm or (self.width_mm, self.height_mm)
        return _digest(_RENDERINGS, turn, self.crop, *size_mm, recipe, self.tone)

    @property
    def picture_mm(self) -> tuple[float, float] | None:
        """Width and height of the whole picture, joints included; None while undecided."""
        if not self.width_mm or not self.height_mm:
            return None
        columns, rows, joint_mm = self.wall or (1, 1, 0.0)
        return (
            columns * self.width_mm + (columns - 1) * joint_mm,
            rows * self.height_mm + (rows - 1) * joint_mm,
        )

    @property
    def proof_number(self) -> str:
        """A number for the proof as it is: another one as soon as anything of it is changed."""
        return self.found_key[:6].upper()

    @property
    def making_verb(self) -> str:
        """The work that makes its job: of a mural, the jobs of all tiles."""
        return "mural" if self.wall else "make"

    @property
    def found_key(self) -> str:
        """What the job depends on: everything but what its tiles hang with."""
        decided = asdict(replace(self, earlier_wall="")).items()  # which changes no dot
        return _digest(*(one for name, one in decided if one or name not in _CAME_LATER))

    @property
    def mural(self) -> str:
        """What its tiles hang with, which come from one painting lot; empty for a single tile."""
        return (self.earlier_wall or self.id) if self.wall else ""

    def design_sha256(self, photo_sha256: str) -> str:
        """Return SHA-256 of what a customer sees: photo, crop, look, size, what was added.

        Laser, recipe and place are not in it: another lot's power makes the same picture.
        """
        shown = {name: value for name, value in asdict(self).items() if name not in _NOT_SEEN}
        shown = {name: value for name, value in shown.items() if value or name not in _CAME_LATER}
        return sha256(json.dumps([photo_sha256, shown], sort_keys=True).encode()).hexdigest()

    @classmethod
    def from_table(cls, table: JsonTable) -> Self:
        """Read what `to_table` gave; what a newer page has added is left out."""
        known = {entry.name for entry in fields(cls)}
        values = {name: value for name, value in table.items() if name in known}
        for name in ("crop", "chosen", "oval", "wall"):
            values[name] = tuple(values[name]) if values.get(name) else None
        values["shades"] = tuple(map(tuple, values.get("shades") or ()))
        added = values.get("decoration")
        values["decoration"] = from_json_value(added, Decoration) if added else NOTHING_ADDED
        return cls(**(values | _settings_in(table)))


def _settings_in(table: JsonTable) -> dict[str, object]:
    """Return head and recipe; neither where they are unfit, so that they are asked for again."""
    head, recipe = table.get("head"), table.get("recipe")
    try:
        return {
            "head": head and Head.from_table(head),
            "recipe": recipe and Recipe.from_table(recipe),
        }
    except UnreadableSheet:
        return {"head": None, "recipe": None}


def _digest(*values: object) -> str:
    return sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()[:16]
