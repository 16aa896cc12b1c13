"""The practice heads and their recipes: invented, so that everything runs without a laser.

No such heads are sold. Their spots and their register count as measured because the practice
machine is built with exactly these values. The recipes are settings that people with lasers of
this power commonly use on white-painted tile (common practice, no source). The greys of each were
measured: its tone card was etched on the practice machine and read (TONES_NAME says how).
"""

import json
from collections.abc import Mapping
from dataclasses import replace
from importlib.resources import files
from typing import Final

from etchwire.catalogue.heads import Head, Recipe, Register
from etchwire.catalogue.records import RecipeRecord, Surface

PRACTICE_SURFACE: Final = "practice tile, white paint"
PRACTICE_REGISTER: Final = Register(beam_lag_s=0.0004, slack_mm=0.06, is_measured=True)
DEFAULT_HEAD: Final = "practice-20w"
TONES_NAME: Final = "practice_tones.json"
PRACTICE_SURFACES: Final = (
    Surface(
        name=PRACTICE_SURFACE,
        tile="white glazed, 150 × 150 mm, invented",
        batch="practice",
        paint="white, matt, invented",
        coating="spray",
        coats=2,
        notes="The practice machine's first surface; no such tile was ever etched.",
    ),
)


def _practice_head(rated_optical_w: float) -> Head:
    return Head(
        name=f"practice {rated_optical_w:g} W",
        rated_optical_w=rated_optical_w,
        spot_x_mm=0.08,
        spot_y_mm=0.08,
        is_spot_measured=True,
        is_spot_stated=True,
        max_s=1000.0,
        max_feed_mm_per_min=10000.0,
        acceleration_mm_per_s2=1000.0,
        travel_x_mm=400.0,
        travel_y_mm=400.0,
        register=PRACTICE_REGISTER,
    )


def _practice_recipe(feed_mm_per_min: float, power_ratio: float) -> Recipe:
    return Recipe(
        surface=PRACTICE_SURFACE,
        feed_mm_per_min=feed_mm_per_min,
        power_ratio=power_ratio,
        line_spacing_mm=0.1,
    )


PRACTICE_HEADS: Final[Mapping[str, Head]] = {
    "practice-20w": _practice_head(20.0),
    "practice-10w": _practice_head(10.0),
    "practice-5w": _practice_head(5.0),
}

PRACTICE_RECIPES: Final[Mapping[str, Recipe]] = {
    "practice-20w": _practice_recipe(4000.0, 0.60),
    "practice-10w": _practice_recipe(2400.0, 0.90),
    "practice-5w": _practice_recipe(500.0, 0.80),
}

_KEPT: Final = json.loads(files("etchwire.catalogue").joinpath(TONES_NAME).read_text("utf-8"))
_TONES: Final[Mapping[str, Mapping[str, object]]] = _KEPT["tones"]
# Of DEFAULT_HEAD's recipe on the practice machine's other surfaces, by their names there.
_TONES_ELSEWHERE: Final[Mapping[str, Mapping[str, object]]] = _KEPT["elsewhere"]


def _record(laser: str, recipe: Recipe, tones: Mapping[str, object]) -> RecipeRecord:
    return RecipeRecord.from_table(
        recipe.to_table()
        | {name: tones[name] for name in ("halftone", "tone_curve")}
        | {"head": PRACTICE_HEADS[laser].name, "origin": "practice"}
    )


PRACTICE_RECORDS: Final[Mapping[str, RecipeRecord]] = {
    laser: _record(laser, recipe, _TONES[laser]) for laser, recipe in PRACTICE_RECIPES.items()
}


def practice_record_elsewhere(laser: str, surface: str, title: str) -> RecipeRecord:
    """Return a laser's recipe on another of the practice machine's surfaces, with greys if read.

    `surface` is its name there, `title` what a recipe calls it.
    """
    recipe = replace(PRACTICE_RECIPES[laser], surface=title)
    tones = _TONES_ELSEWHERE.get(surface) if laser == DEFAULT_HEAD else None
    return _record(laser, recipe, tones or {"halftone": "", "tone_curve": None})
