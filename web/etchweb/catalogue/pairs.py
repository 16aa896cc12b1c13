"""Which laser on which tile and paint: the pairs there are, and the recipe in force for each."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

from etchweb.daemon.protocol import Daemon
from etchweb.text.formatting import grouped, millimetres, percent
from etchwire.catalogue import Head

Table = Mapping[str, Any]

# What of tile and paint changes how it etches, in a person's words.
TELLING: Final = {
    "tile": "the tile",
    "batch": "the box of tiles",
    "paint": "the paint",
    "can": "the can",
    "coating": "how it is coated",
    "coats": "the number of coats",
}
_HEAD_ENTRIES: Final = tuple(entry.name for entry in fields(Head))
_RECIPE_ENTRIES: Final = ("feed_mm_per_min", "power_ratio", "line_spacing_mm", "air_assist")
_TONE_ENTRIES: Final = (*_RECIPE_ENTRIES, "surface", "halftone", "tone_curve")


@dataclass(frozen=True, slots=True)
class Pair:
    """A laser on a tile and paint, and the recipe in force, if one is."""

    head: Table
    surface: Table
    recipe: Table | None

    @property
    def key(self) -> tuple[str, str]:
        """The names that tell pairs apart."""
        return str(self.head["name"]), str(self.surface["name"])

    @property
    def head_table(self) -> dict[str, Any]:
        """The laser as etchwire.catalogue has it."""
        return {name: self.head[name] for name in _HEAD_ENTRIES if name in self.head}

    @property
    def recipe_table(self) -> dict[str, Any] | None:
        """The recipe as etchwire.catalogue has it."""
        if self.recipe is None:
            return None
        settings = {name: self.recipe[name] for name in _RECIPE_ENTRIES}
        return {"surface": self.key[1], **settings}

    @property
    def tone(self) -> dict[str, Any] | None:
        """The tone curve with the recipe and halftone it was measured with; None without one."""
        if self.recipe is None or not self.recipe.get("tone_curve"):
            return None
        return {name: self.recipe[name] for name in _TONE_ENTRIES}

    @property
    def settings(self) -> str:
        """The recipe in figures."""
        return "" if self.recipe is None else settings_words(self.recipe)

    @property
    def caution(self) -> str:
        """Why the recipe may not fit, or there being none; empty where nothing speaks against."""
        if self.recipe is None:
            return (
                f"Nobody has tried {self.key[0]} on {self.key[1]} yet. New box? One test tile "
                "first."
            )
        changes = list(self._changes())
        if not changes:
            return ""
        return (
            f"Since this recipe was found, {' and '.join(changes)} changed. One test tile shows "
            "whether it still holds."
        )

    def _changes(self) -> Iterator[str]:
        then = (self.recipe or {}).get("found_on")
        if not isinstance(then, Mapping):
            return
        for name, words in TELLING.items():
            if then.get(name) != self.surface.get(name):
                yield words


def settings_words(recipe: Table) -> str:
    """Return speed, power and spacing as a person says them."""
    air = ", with air" if recipe.get("air_assist") else ""
    return (
        f"{grouped(recipe['feed_mm_per_min'])} mm/min, {percent(recipe['power_ratio'])} %, "
        f"lines {millimetres(recipe['line_spacing_mm'])} mm apart{air}"
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
    heads = daemon.ask("heads")["heads"]
    surfaces = daemon.ask("surfaces")["surfaces"]
    in_force = {
        (recipe["head"], recipe["surface"]): recipe
        for recipe in daemon.ask("recipes")["recipes"]
        if recipe["is_in_force"]
    }
    pairs = [
        Pair(head["head"], surface["surface"], in_force.get((head["name"], surface["name"])))
        for head in heads
        for surface in surfaces
    ]
    return sorted(pairs, key=lambda pair: pair.recipe is None)


def last_used(daemon: Daemon, pairs: Sequence[Pair]) -> Pair | None:
    """Return the pair that was etched last, else the first; raise DaemonAbsent or Refused."""
    runs = daemon.ask("runs", limit=1)["runs"]
    used = {(run["head"], run["surface"]) for run in runs}
    return next((pair for pair in pairs if pair.key in used), next(iter(pairs), None))
