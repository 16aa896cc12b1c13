"""What is written of lasers, surfaces and recipes, one kind of entry each; see `entries`."""

import json
import sqlite3
from dataclasses import dataclass

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.write.insert_statements import (
    Stamp,
    changed,
    insert,
    made,
    newest_run,
    pair,
    put,
    require,
)
from etchwire.catalogue.heads import Head
from etchwire.catalogue.records import RecipeRecord, Surface


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadSaved:
    """A laser is described, for the first time or anew."""

    head: Head
    notes: str
    stamp: Stamp
    is_practice: bool = False

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it over what stood under its name."""
        columns = {
            "name": self.head.name,
            "head_json": json.dumps(self.head.to_table()),
            "notes": self.notes,
            **changed(self.stamp, is_practice=self.is_practice),
        }
        return put(book, "head", columns)


@dataclass(frozen=True, slots=True)
class LensWiped:
    """A laser's lens is clean again."""

    head: str
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it behind the newest run; raise CommandRefused for an unknown laser."""
        require(book, "head", self.head)
        columns = {
            "head": self.head,
            "at_utc": self.stamp.at_utc,
            "after_run_id": newest_run(book),
            "who": self.stamp.who,
        }
        return insert(book, "lens_wipe", columns)


@dataclass(frozen=True, slots=True)
class SurfaceSaved:
    """A surface is described, for the first time or anew."""

    surface: Surface
    stamp: Stamp
    is_practice: bool = False

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it over what stood under its name."""
        columns = {
            "name": self.surface.name,
            "surface_json": json.dumps(self.surface.to_table()),
            **changed(self.stamp, is_practice=self.is_practice),
        }
        return put(book, "surface", columns)


@dataclass(frozen=True, slots=True)
class RecipeSaved:
    """A recipe comes into force for its head and surface."""

    recipe: RecipeRecord
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it with the surface as it is now; raise CommandRefused for unknown names."""
        recipe = self.recipe
        if recipe.reading is not None:
            require(book, "reading", recipe.reading, key="id")
        curve = recipe.tone_curve
        columns = {
            **pair(book, recipe.head, recipe.surface),
            "feed_mm_per_min": recipe.feed_mm_per_min,
            "power_ratio": recipe.power_ratio,
            "line_spacing_mm": recipe.line_spacing_mm,
            "is_air_assist": recipe.air_assist,
            "halftone": recipe.halftone,
            "tone_curve_json": None if curve is None else json.dumps(curve),
            "origin": recipe.origin,
            "reading_id": recipe.reading,
            **made(self.stamp, book),
        }
        return insert(book, "recipe", columns)


@dataclass(frozen=True, slots=True)
class RecipeRetired:
    """A recipe is taken out of force and kept: runs and readings lead to it."""

    recipe: int
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Mark it; raise CommandRefused where there is none, or it is marked already."""
        require(book, "recipe", self.recipe, key="id")
        marked = book.execute(
            "UPDATE recipe SET retired_at_utc = ? WHERE id = ? AND retired_at_utc IS NULL",
            (self.stamp.at_utc, self.recipe),
        )
        if not marked.rowcount:
            raise CommandRefused(f"Recipe {self.recipe} is retired already.")
        return self.recipe


@dataclass(frozen=True, slots=True)
class CatalogueIntroduced:
    """What a practice household begins with; a logbook that knows a laser keeps what it has."""

    heads: tuple[Head, ...]
    surfaces: tuple[Surface, ...]
    recipes: tuple[RecipeRecord, ...]
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write all of it, marked as practice, or nothing."""
        if book.execute("SELECT count(*) FROM head").fetchone() != (0,):
            return None
        for head in self.heads:
            HeadSaved(head=head, notes="", stamp=self.stamp, is_practice=True).write(book)
        for surface in self.surfaces:
            SurfaceSaved(surface, self.stamp, is_practice=True).write(book)
        for recipe in self.recipes:
            RecipeSaved(recipe, self.stamp).write(book)
        return None
