"""`etchwarden card`: test cards become jobs in folders."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from etchphoto.tone import GUESSED_BLACK
from etchproof.card import BED_PLACES, CARD_NAME, UNGLAZED_BACK, WITHOUT_RECIPE, Card
from etchproof.errors import EtchproofError, HighDose, UnfitCard
from etchproof.layout.border import Place
from etchproof.layout.card_order import FIRST_STEPS, CardOrder, lay_out
from etchproof.layout.card_request import CardRequest
from etchproof.layout.focus_card import WedgeRequest
from etchproof.layout.job import prepare_card, read_card_file
from etchproof.layout.spare_tile import SpareTile, corner_mm, lay_out_on
from etchproof.layout.tone_card import DEFAULT_STEPS
from etchwarden.shared.card_calls import CardCalls, card_calls_at, refusals_reported
from etchwarden.shared.catalogue_calls import settings_of
from etchwarden.shared.daemon_option import Options, daemon_option, with_options
from etchwarden.shared.heads import find_head
from etchwarden.shared.job_summary import duration
from etchwire.catalogue.examples import (
    DEFAULT_HEAD,
    PRACTICE_HEADS,
    PRACTICE_RECIPES,
    PRACTICE_SURFACE,
)
from etchwire.catalogue.halftones import halftone_key
from etchwire.catalogue.heads import Head, Recipe
from etchwire.catalogue.records import SparePlace

NO_RECIPE: Final = (
    "say --speed and --power: there is no recipe for this laser on this tile and paint"
)


Changes = Mapping[str, Any]  # entries of CardOrder that one kind of card has, by their names


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options:
    """What was said on the command line about every kind of card; None for what was not."""

    folder: Path
    is_replacing: bool
    head_name: str
    surface: str
    number: int | None
    place_mm: tuple[float, float]
    at_mm: tuple[float, float] | None
    spacing_mm: float | None
    halftone: str
    air_assist: bool
    socket: Path | None
    spare: str | None = None
    spare_size_mm: tuple[float, float] | None = None
    is_back: bool = False
    feed_mm_per_min: float | None = None
    power_percent: float | None = None


_COMMON: Final[Options] = (
    click.option(
        "-o", "--output", "folder", metavar="CARD", type=click.Path(path_type=Path), required=True,
        help="The folder to make; it will hold the job and the card's description.",
    ),
    click.option("--replace", "is_replacing", is_flag=True, help="Replace a card that is there."),
    click.option(
        "--head", "head_name", metavar="LASER", default=DEFAULT_HEAD, show_default=True,
        help=f"A laser of the logbook, a TOML file, or {', '.join(PRACTICE_HEADS)}.",
    ),
    click.option(
        "--surface", default=PRACTICE_SURFACE, metavar="TEXT", show_default=True,
        help="Tile and paint, for the record.",
    ),
    click.option(
        "--number", type=int, metavar="N",
        help="The card's number; left out, the next after those of the cards beside it.",
    ),
    click.option(
        "--place", "place_mm", type=float, nargs=2, default=(100.0, 100.0), show_default=True,
        metavar="WIDTH HEIGHT", help="The part of the tile that it may cover, in mm.",
    ),
    click.option(
        "--at", "at_mm", type=float, nargs=2, metavar="X Y",
        help="Lower left corner of the card, in mm from the origin.",
    ),
    click.option(
        "--spacing", "spacing_mm", type=float, metavar="MM",
        help="From line to line, as photos will have it; left out, the recipe's, and without one "
        "0.1, or the laser's spot where that was measured and is wider.",
    ),
    click.option(
        "--halftone", default="smooth", show_default=True, metavar="KIND",
        help="How grey becomes dots, as photos will have it: smooth, firm or crisp.",
    ),
    click.option("--air-assist", is_flag=True, help="Air assist will be on."),
    click.option(
        "--spare", metavar="NAME",
        help="A spare tile by your name for it: with --daemon the card goes to a free place of it.",
    ),
    click.option(
        "--spare-size", "spare_size_mm", type=float, nargs=2, metavar="WIDTH HEIGHT",
        help="Its size in mm, as it lies; once said, it is remembered.",
    ),
    click.option("--back", "is_back", is_flag=True, help="Its unglazed back faces up."),
    daemon_option(is_required=False),
)  # fmt: skip

_WITH_RECIPE: Final[Options] = (
    *_COMMON,
    click.option("--speed", "feed_mm_per_min", metavar="MM/MIN", type=float, help="Its speed."),
    click.option("--power", "power_percent", metavar="PERCENT", type=float, help="Its power."),
)


@click.group()
def command() -> None:
    """Lay out a test card: a job like any other, to be etched, wiped and read.

    A focus card finds how high the laser has to stand and how wide its spot is, a power card speed
    and power, a spacing card how far apart lines may lie, a tone card how greys come out, a
    register card whether rows burnt to the left meet those burnt to the right. A check strip says
    whether a recipe still holds on a new can of paint or a new box of tiles.
    """


@command.command(short_help="Try speeds against powers.")
@with_options(_COMMON)
@click.option(
    "--speeds", "feeds", type=float, nargs=2, metavar="LOW HIGH",
    help="Speeds in mm/min; left out, those that suit lasers of this rating.",
)  # fmt: skip
@click.option(
    "--powers", "percents", type=float, nargs=2, metavar="LOW HIGH", help="Powers in per cent."
)
@click.option(
    "--steps", type=int, nargs=2, metavar="SPEEDS POWERS",
    help=f"How many of each; left out, {FIRST_STEPS[0]} and {FIRST_STEPS[1]}, or fewer where those "
    "took more than an hour.",
)  # fmt: skip
def power(
    feeds: tuple[float, float] | None,
    percents: tuple[float, float] | None,
    steps: tuple[int, int] | None,
    **said: Any,
) -> None:
    """Try speeds against powers: the first card for a laser, a tile and a paint."""
    changes = {
        "feeds_mm_per_min": feeds,
        "power_ratios": None if percents is None else (percents[0] / 100, percents[1] / 100),
        "steps": steps,
    }
    _make("power", _Options(**said), changes)


@command.command(short_help="Five patches round a recipe.")
@with_options(_WITH_RECIPE)
def five(**said: Any) -> None:
    """Five patches round a recipe: enough to see whether it holds on a new box of tiles."""
    _make("five", _Options(**said), {})


@command.command(short_help="Greys from bare to black.")
@with_options(_WITH_RECIPE)
@click.option("--steps", default=DEFAULT_STEPS, show_default=True, help="How many greys.")
@click.option(
    "--black", default=GUESSED_BLACK, show_default=True, metavar="SHARE",
    help="What the darkest patch of the power card reflects beside the bare tile.",
)  # fmt: skip
def tone(steps: int, black: float, **said: Any) -> None:
    """Greys from bare to black, burnt with a recipe and its halftone."""
    _make("tone", _Options(**said), {"greys": steps, "black": black})


@command.command(short_help="Does the recipe hold on a new can or box?")
@with_options(_WITH_RECIPE)
def check(**said: Any) -> None:
    """Check on a strip of 20 × 100 mm whether a recipe holds on a new can or box of tiles."""
    _make("check", _Options(**said), {})


@command.command(short_help="Which reserve does this tile need?")
@with_options(_WITH_RECIPE)
def reserve(**said: Any) -> None:
    """Measure by equal patches at centre and corners which reserve of dose the recipe needs."""
    _make("reserve", _Options(**said), {})


@command.command(short_help="Do rows meet? Hairlines burnt both ways.")
@with_options(_WITH_RECIPE)
def register(**said: Any) -> None:
    """Hairlines burnt to the right against hairlines burnt to the left."""
    _make("register", _Options(**said), {})


@command.command(short_help="How far apart can the lines be?")
@with_options(_WITH_RECIPE)
def spacing(**said: Any) -> None:
    """One tone at spacings round the recipe's, with one dose, to see which lines still close."""
    _make("spacing", _Options(**said), {})


@command.command(short_help="How high must the laser stand? Lines on a wedge.")
@with_options(_WITH_RECIPE)
@click.option(
    "--wedge", "wedge", type=float, nargs=3, required=True, metavar="LEFT RIGHT LENGTH",
    help="How far up the underside of the tile stands at its left and right ends, and the length "
    "between them, in mm: 0 18 150.",
)  # fmt: skip
@click.option(
    "--start", "start_mm", type=float, metavar="MM",
    help="From the tile's left end to the card; left out, the card lies in its middle.",
)  # fmt: skip
@click.option(
    "--bed-place", type=click.Choice(BED_PLACES), default=None,
    help="Where on the bed that is, to compare places.",
)  # fmt: skip
def focus(
    wedge: tuple[float, float, float], start_mm: float | None, bed_place: str | None, **said: Any
) -> None:
    """Thin lines on a tile that lies on a wedge: focus, its depth, and the width of the spot.

    Put the laser about half the wedge higher than usual, so that the focus lies within it. Without
    a recipe its speeds are guessed; lines too pale to see, or run together, need others: say
    --speed and --power.
    """
    left, right, length = wedge
    with refusals_reported():
        on = WedgeRequest(
            left_mm=left,
            right_mm=right,
            length_mm=length,
            start_mm=start_mm,
            bed_place=bed_place or "",
        )
    _make("focus", _Options(**said), {"wedge": on})


def _lay_out(order: CardOrder, tile: SpareTile | None) -> tuple[Card, SparePlace | None]:
    """Lay the card out; a dose beyond what any surface needs is asked about first."""
    try:
        return (lay_out(order), None) if tile is None else lay_out_on(tile, order)
    except HighDose as error:
        click.confirm(f"{error}. Is so much meant?", default=False, abort=True)
        return _lay_out(replace(order, is_high_dose_meant=True), tile)


def _spare_tile(options: _Options, logbook: CardCalls | None) -> SpareTile | None:
    """Return the spare tile that was named, with the places taken of it."""
    if options.is_back:
        raise UnfitCard(UNGLAZED_BACK)
    if options.spare is None:
        return None
    if logbook is None:
        raise click.UsageError("say --daemon: the logbook knows which places of a tile are taken")
    used = logbook.places_on(options.spare)
    size = options.spare_size_mm or next(
        ((place.tile_width_mm, place.tile_height_mm) for place in used), None
    )
    if size is None:
        raise click.UsageError(f"say --spare-size: {options.spare} is new to the logbook")
    return SpareTile(name=options.spare, width_mm=size[0], height_mm=size[1], used=tuple(used))


def _make(kind: str, options: _Options, changes: Changes) -> None:
    with card_calls_at(options.socket) as logbook, refusals_reported():
        order = _order(kind, options, changes, logbook)
        card, place = _lay_out(order, _spare_tile(options, logbook))
        sheet = prepare_card(
            card,
            folder=options.folder,
            is_replacing=options.is_replacing,
            at_mm=options.at_mm or (None if place is None else corner_mm(place)),
        )
        if logbook is not None:
            logbook.file_card(card, sheet, place)
    for note in card.notes:
        click.echo(f"Note: {note}", err=True)
    if logbook is None:
        click.echo("Note: without --daemon the logbook does not know of this card.", err=True)
    click.echo(
        f"{sheet.title}: {card.width_mm:.1f} × {card.height_mm:.1f} mm. Etching will take "
        f"{duration(sheet.predicted_s)}.\nThe job is in {options.folder}. When it is etched, let "
        f"it cool, wipe it, photograph it and say: etchwarden read PHOTO --card {options.folder}"
    )


def _order(kind: str, options: _Options, changes: Changes, logbook: CardCalls | None) -> CardOrder:
    if logbook is None and kind not in WITHOUT_RECIPE:
        _require_settings(options, PRACTICE_RECIPES.get(options.head_name))
    head = logbook.catalogue.head(options.head_name) if logbook else find_head(options.head_name)
    if logbook:
        logbook.catalogue.require_surface(options.surface)
    stored = _stored_recipe(options, head, logbook)
    usual_mm = head.usual_spacing_mm if stored is None else stored.line_spacing_mm
    request = CardRequest(
        number=_number(options, logbook),
        head=head,
        surface=options.surface,
        line_spacing_mm=usual_mm if options.spacing_mm is None else options.spacing_mm,
        halftone=halftone_key(options.halftone),
        place=Place(*options.place_mm),
        air_assist=options.air_assist or (stored is not None and stored.air_assist),
    )
    recipe = None if kind == "power" else _recipe(options, request, stored, kind)
    return CardOrder(kind=kind, wishes=request, recipe=recipe, **changes)


def _stored_recipe(options: _Options, head: Head, logbook: CardCalls | None) -> Recipe | None:
    in_force = logbook.catalogue.recipe_in_force(head.name, options.surface) if logbook else None
    return settings_of(in_force) if in_force else PRACTICE_RECIPES.get(options.head_name)


def _recipe(
    options: _Options, request: CardRequest, stored: Recipe | None, kind: str
) -> Recipe | None:
    percent = options.power_percent
    is_said = percent is not None or options.feed_mm_per_min is not None
    if stored is None and not is_said and kind in WITHOUT_RECIPE:
        return None
    said_ratio = None if percent is None else percent / 100
    return Recipe(
        surface=options.surface,
        feed_mm_per_min=_said_or(
            options.feed_mm_per_min, None if stored is None else stored.feed_mm_per_min
        ),
        power_ratio=_said_or(said_ratio, None if stored is None else stored.power_ratio),
        line_spacing_mm=request.line_spacing_mm,
        air_assist=request.air_assist,
    )


def _said_or(said: float | None, in_recipe: float | None) -> float:
    figure = in_recipe if said is None else said
    if figure is None:
        raise click.UsageError(NO_RECIPE)
    return figure


def _require_settings(options: _Options, usual: Recipe | None) -> None:
    if usual is None and None in (options.feed_mm_per_min, options.power_percent):
        raise click.UsageError(NO_RECIPE)


def _number(options: _Options, logbook: CardCalls | None) -> int:
    taken = _numbers_beside(options.folder)
    least = logbook.next_number() if logbook else 1
    number = options.number or max(max(taken, default=0) + 1, least)
    if number in taken and not options.is_replacing:
        raise UnfitCard(
            f"card {number} is already in {taken[number]}: leave --number out, or say another"
        )
    if logbook and number < least:
        logbook.require_free(number)
    return number


def _numbers_beside(folder: Path) -> dict[int, Path]:
    """Return the numbers of the cards in the folders beside `folder`."""
    taken = {}
    for file in folder.absolute().parent.glob(f"*/{CARD_NAME}"):
        try:
            taken[read_card_file(file).number] = file.parent
        except EtchproofError:
            continue  # a card of another version takes no number of ours
    return taken
