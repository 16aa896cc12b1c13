"""Which laser and recipe a photo is prepared for: the logbook's, a practice one, or as said."""

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, TypedDict, cast

import click

from etchphoto.errors import UnfitOrder
from etchphoto.framing import line_spacing_mm
from etchphoto.job.order import FROM_TEST_CARD
from etchphoto.measured_tone import MeasuredTone
from etchwarden.shared.catalogue_calls import catalogue_calls_at, settings_of
from etchwarden.shared.heads import find_head
from etchweb.catalogue.pairs import is_proven_with
from etchwire.calls.json_values import to_json_value
from etchwire.catalogue.examples import PRACTICE_RECORDS, PRACTICE_SURFACE
from etchwire.catalogue.heads import Head, Recipe
from etchwire.catalogue.power_pulses import pulse_note
from etchwire.catalogue.records import RecipeRecord
from etchwire.errors import DaemonAbsent

AS_SAID: Final = (
    "So speed, power and spacing are as you said, and what the logbook knows of this laser and "
    "surface is left out."
)


class _Said(TypedDict, total=False):
    """Entries of Recipe that were said, by their names."""

    surface: str
    feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    air_assist: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeOptions:
    """What was said on the command line, as far as the recipe goes; None for what was not."""

    head: str
    feed_mm_per_min: float | None
    power_percent: float | None
    spacing_mm: float | None
    lines_per_inch: float | None
    surface: str | None
    air_assist: bool | None
    socket: Path | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """What the photo is etched with; an empty halftone leaves it open."""

    head: Head
    recipe: Recipe
    tone: MeasuredTone | None = None
    halftone: str = ""


def choose_recipe(options: RecipeOptions) -> Chosen:
    """Return laser and recipe, and tell the person what speaks for a test or another setting.

    Raise UnfitOrder, with a sentence, for what is missing or makes no sense.
    """
    said = _said(options)
    chosen = _chosen(options, said)
    is_by_hand = not said.keys().isdisjoint(_NEEDED)
    if is_by_hand and (note := pulse_note(chosen.head, chosen.recipe)):
        click.echo(f"Note: {note}", err=True)
    return chosen


def _chosen(options: RecipeOptions, said: _Said) -> Chosen:
    if options.socket is not None:
        try:
            return _from_logbook(options, options.socket)
        except click.ClickException as error:  # all that it would be asked for may have been said
            if not (isinstance(error.__cause__, DaemonAbsent) and _NEEDED.keys() <= said.keys()):
                raise
            click.echo(f"Note: {error.message} {AS_SAID}", err=True)
    head = find_head(options.head)
    if options.head in PRACTICE_RECORDS:
        return _from_practice(head, PRACTICE_RECORDS[options.head], said)
    said.setdefault("surface", "not stated")
    for name, option in _NEEDED.items():
        if name not in said:
            raise UnfitOrder(f"say {option}: only a practice laser brings its own")
    return Chosen(head=head, recipe=Recipe(**said))


def _from_practice(head: Head, record: RecipeRecord, said: _Said) -> Chosen:
    return Chosen(
        head=head,
        recipe=replace(record.settings(), **said),
        tone=MeasuredTone.from_record(record.to_table()),
        halftone=record.halftone,
    )


def _from_logbook(options: RecipeOptions, socket: Path) -> Chosen:
    said = _said(options)
    surface = said.setdefault("surface", PRACTICE_SURFACE)
    with catalogue_calls_at(socket) as catalogue:
        head = catalogue.head(options.head)
        catalogue.require_surface(surface)
        in_force = catalogue.recipe_in_force(head.name, surface)
        advice = catalogue.advice(head.name, surface, air_assist=options.air_assist)
        is_proven = is_proven_with(FROM_TEST_CARD, catalogue.daemon.ask, head.name, surface)
    for sentence in advice:
        click.echo(f"Note: {sentence}", err=True)
    if in_force is None:
        if any(name not in said for name in _NEEDED):
            raise UnfitOrder(
                f"there is no recipe for {head.name} on {surface}: etch a power card (etchwarden "
                "card power), or say --speed, --power and --spacing"
            )
        return Chosen(head=head, recipe=Recipe(**said))
    recipe = replace(settings_of(in_force), **said)
    tone = MeasuredTone.from_record(to_json_value(in_force))
    if is_proven and tone is not None and tone.dot_for(recipe) is not None:
        return Chosen(head=head, recipe=recipe, tone=tone, halftone=FROM_TEST_CARD)
    halftone = in_force.halftone if tone is not None else ""
    return Chosen(head=head, recipe=recipe, tone=tone, halftone=halftone)


def _said(options: RecipeOptions) -> _Said:
    power_percent = _positive("power", options.power_percent, "percent")
    said = {
        "feed_mm_per_min": _positive("speed", options.feed_mm_per_min, "mm/min"),
        "power_ratio": None if power_percent is None else power_percent / 100,
        "line_spacing_mm": _positive("line spacing", _spacing_mm(options), "millimetres"),
        "surface": options.surface,
        "air_assist": options.air_assist,
    }
    return cast(_Said, {name: value for name, value in said.items() if value is not None})


_NEEDED: Final = {
    "feed_mm_per_min": "how fast to etch, --speed in mm/min",
    "power_ratio": "with which power, --power in percent",
    "line_spacing_mm": "how far lines lie apart, --spacing in mm or --lines-per-inch",
}


def _positive(name: str, value: float | None, unit: str) -> float | None:
    if value is None or 0 < value < math.inf:
        return value
    raise UnfitOrder(f"the {name} must be a number of {unit} above zero, not {value:g}")


def _spacing_mm(options: RecipeOptions) -> float | None:
    if options.lines_per_inch is None:
        return options.spacing_mm
    if options.spacing_mm is not None:
        raise UnfitOrder(
            "lines per inch and spacing are one number: say --spacing or --lines-per-inch, not both"
        )
    return line_spacing_mm(options.lines_per_inch)
