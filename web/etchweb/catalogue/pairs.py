"""Which laser on which tile and paint: the pairs there are, and the recipe in force for each."""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from etchweb.catalogue.controller_figures import controller_figures, fits
from etchweb.daemon.protocol import Daemon
from etchweb.text.formatting import grouped, millimetres, percent
from etchwire.calls.catalogue import Heads, RecipeEntry, Recipes, Surfaces
from etchwire.calls.history import Run, Runs
from etchwire.calls.machine import ControllerSettings, Settings
from etchwire.catalogue.heads import Head, Recipe
from etchwire.catalogue.records import GOOD, Surface
from etchwire.errors import Refused
from etchwire.record import Ask
from etchwire.transport.json_text import JsonTable

_LATE_RUNS: Final = 20
# What of tile and paint changes how it etches, in a person's words.
_TELLING: Final = {
    "tile": "the tile",
    "batch": "the box of tiles",
    "paint": "the paint",
    "can": "the can",
    "coating": "how it is coated",
    "coats": "the number of coats",
    "lot": "the painting lot",
}
_WIPING: Final = {  # said for the first time is no change
    "solvent": "the solvent",
    "cloth": "the cloth",
    "wait_min": "the wait before wiping",
    "wiping": "how hard it is wiped",
}


@dataclass(frozen=True, slots=True)
class Pair:
    """A laser on a tile and paint, and the recipe in force, if one is."""

    head: Head
    surface: Surface
    recipe: RecipeEntry | None

    @property
    def key(self) -> tuple[str, str]:
        """The names that tell pairs apart."""
        return self.head.name, self.surface.name

    @property
    def job_recipe(self) -> Recipe | None:
        """What a job needs of the recipe."""
        if self.recipe is None:
            return None
        return Recipe(
            surface=self.surface.name,
            feed_mm_per_min=self.recipe.feed_mm_per_min,
            power_ratio=self.recipe.power_ratio,
            line_spacing_mm=self.recipe.line_spacing_mm,
            air_assist=self.recipe.air_assist,
        )

    @property
    def tone(self) -> JsonTable | None:
        """The tone curve with the recipe and halftone it was measured with; None without one."""
        if self.recipe is None or self.job_recipe is None or not self.recipe.tone_curve:
            return None
        return self.job_recipe.to_table() | {
            "halftone": self.recipe.halftone,
            "tone_curve": self.recipe.tone_curve,
        }

    @property
    def settings(self) -> str:
        """The recipe in figures."""
        return "" if self.recipe is None else settings_words(self.recipe)

    @property
    def caution(self) -> str:
        """Why the recipe may not fit, or there being none; empty where nothing speaks against."""
        if self.recipe is None:
            return (
                f"Nobody has tried {self.key[0]} on {self.key[1]} yet. New box? One test card "
                "first."
            )
        then, now = self.recipe.found_on, self.surface
        changes = [
            words for name, words in _TELLING.items() if getattr(then, name) != getattr(now, name)
        ]
        changes += [
            words
            for name, words in _WIPING.items()
            if getattr(then, name) and getattr(then, name) != getattr(now, name)
        ]
        if not changes:
            return ""
        remedy = "A check strip shows whether it still holds."
        if then.paint != now.paint:
            remedy = "Another paint needs a power card of its own."
        return f"Since this recipe was found, {' and '.join(changes)} changed. {remedy}"


def settings_words(recipe: Recipe | RecipeEntry) -> str:
    """Return speed, power and spacing as a person says them."""
    air = ", with air" if recipe.air_assist else ""
    return (
        f"{grouped(recipe.feed_mm_per_min)} mm/min, {percent(recipe.power_ratio)} %, "
        f"lines {millimetres(recipe.line_spacing_mm)} mm apart{air}"
    )


def pair_of_key(key: str, pairs: Sequence[Pair]) -> Pair | None:
    """Return the pair whose key a form gives as JSON, None where there is none."""
    try:
        wanted = tuple(json.loads(key))
    except (ValueError, TypeError, RecursionError):
        return None
    return next((pair for pair in pairs if pair.key == wanted), None)


def ask_pairs(daemon: Daemon) -> list[Pair]:
    """Return every pair, those with a recipe first; raise DaemonAbsent or Refused."""
    heads = daemon.ask(Heads()).heads
    surfaces = daemon.ask(Surfaces()).surfaces
    in_force = {
        (recipe.head, recipe.surface): recipe
        for recipe in daemon.ask(Recipes()).recipes
        if recipe.is_in_force
    }
    pairs = [
        Pair(head.head, surface.surface, in_force.get((head.name, surface.name)))
        for head in heads
        for surface in surfaces
    ]
    return sorted(pairs, key=lambda pair: pair.recipe is None)


def is_proven_with(halftone: str, ask: Ask, head: str, surface: str) -> bool:
    """Return whether a tile of this pair, etched with such dots, was judged good of late.

    Raise DaemonAbsent or Refused.
    """
    runs = ask(Runs(limit=_LATE_RUNS, head=head, surface=surface)).runs
    good = [run.id for run in runs if run.verdict == GOOD]
    return any(ask(Run(id=one)).sheet.get("halftone") == halftone for one in good)


def preselected(daemon: Daemon, pairs: Sequence[Pair]) -> Pair | None:
    """Return the pair that was etched last, else the first; one of the connected laser, if known.

    Raise DaemonAbsent or Refused.
    """
    used = {(run.head, run.surface) for run in daemon.ask(Runs(limit=1)).runs}
    return preselected_of(pairs, used, controller_figures(ask_settings(daemon)))


def ask_settings(daemon: Daemon) -> ControllerSettings | None:
    """Return the controller's settings that matter, None where they cannot be told now."""
    try:
        return daemon.ask(Settings())
    except Refused:
        return None


def preselected_of(
    pairs: Sequence[Pair], used: Collection[tuple[str, str]], figures: Mapping[str, float]
) -> Pair | None:
    """Return the pair to begin with: of a laser that `figures` fit, then one that was `used`."""
    in_order = sorted(pairs, key=lambda pair: (not fits(pair.head, figures), pair.key not in used))
    return next(iter(in_order), None)
