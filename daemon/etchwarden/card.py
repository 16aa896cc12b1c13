"""`etchwarden card`: test cards become jobs in folders."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import click

from etchphoto.errors import EtchphotoError
from etchproof.border import Place
from etchproof.card import CARD_NAME, Card
from etchproof.errors import EtchproofError, UnfitCard
from etchproof.grid import Grid
from etchproof.job import prepare_card, read_card_file
from etchproof.power_card import lay_out_power_card
from etchproof.ranges import Range, starting_range
from etchproof.reach import photo_reach_mm_per_min
from etchproof.register_card import lay_out_register_card
from etchproof.tone_card import DEFAULT_STEPS, GUESSED_BLACK, lay_out_tone_card
from etchproof.wishes import Wishes
from etchwarden.heads import find_head
from etchwarden.job_summary import duration
from etchwire.craft import Recipe
from etchwire.errors import WireError
from etchwire.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_RECIPES, PRACTICE_SURFACE

FIRST_STEPS: Final = (6, 6)

_COMMON: Final[tuple[Callable[[Any], Any], ...]] = (
    click.option(
        "-o", "--output", "folder", metavar="CARD", type=click.Path(path_type=Path), required=True,
        help="The folder to make; it will hold the job and the card's description.",
    ),
    click.option("--replace", "is_replacing", is_flag=True, help="Replace a card that is there."),
    click.option(
        "--head", "head_name", metavar="LASER", default=DEFAULT_HEAD, show_default=True,
        help=f"A TOML file about your laser, or {', '.join(PRACTICE_HEADS)}.",
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
        "--spacing", "spacing_mm", type=float, default=0.1, show_default=True, metavar="MM",
        help="From line to line, as photos will have it.",
    ),
    click.option(
        "--halftone", default="jarvis", show_default=True, metavar="KIND",
        help="How grey becomes dots, as photos will have it.",
    ),
    click.option("--air-assist", is_flag=True, help="Air assist will be on."),
)  # fmt: skip

_RECIPE: Final = (
    click.option("--speed", "feed_mm_per_min", metavar="MM/MIN", type=float, help="Its speed."),
    click.option("--power", "power_percent", metavar="PERCENT", type=float, help="Its power."),
)


def _with(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def add(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return add


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Lay out a test card: a job like any other, to be etched, wiped and read.

    A power card finds speed and power, a tone card how greys come out, a register card whether
    rows burnt to the left meet those burnt to the right.
    """


@command.command(short_help="Try speeds against powers.")
@_with(*_COMMON)
@click.option(
    "--speeds", "feeds", type=float, nargs=2, metavar="LOW HIGH",
    help="Speeds in mm/min; left out, those that suit lasers of this rating.",
)  # fmt: skip
@click.option(
    "--powers", "percents", type=float, nargs=2, metavar="LOW HIGH", help="Powers in per cent."
)
@click.option(
    "--steps", type=int, nargs=2, default=FIRST_STEPS, show_default=True,
    metavar="SPEEDS POWERS", help="How many of each.",
)  # fmt: skip
def power(
    feeds: tuple[float, float] | None,
    percents: tuple[float, float] | None,
    steps: tuple[int, int],
    **said: Any,
) -> None:
    """Try speeds against powers: the first card for a laser, a tile and a paint."""
    _make(said, lambda wishes: lay_out_power_card(wishes, _grid(wishes, feeds, percents, steps)))


@command.command(short_help="Five patches round a recipe.")
@_with(*_COMMON, *_RECIPE)
def five(**said: Any) -> None:
    """Five patches round a recipe: enough to see whether it holds on a new box of tiles."""
    recipe_of = _recipe_from(said)
    _make(
        said,
        lambda wishes: lay_out_power_card(
            wishes, Grid.round_recipe(recipe_of(wishes), wishes.head)
        ),
    )


@command.command(short_help="Greys from bare to black.")
@_with(*_COMMON, *_RECIPE)
@click.option("--steps", default=DEFAULT_STEPS, show_default=True, help="How many greys.")
@click.option(
    "--black", default=GUESSED_BLACK, show_default=True, metavar="SHARE",
    help="What the darkest patch of the power card reflects beside the bare tile.",
)  # fmt: skip
def tone(steps: int, black: float, **said: Any) -> None:
    """Greys from bare to black, burnt with a recipe and its halftone."""
    recipe_of = _recipe_from(said)
    _make(
        said,
        lambda wishes: lay_out_tone_card(wishes, recipe_of(wishes), steps=steps, black=black),
    )


@command.command(short_help="Do rows meet? Hairlines burnt both ways.")
@_with(*_COMMON, *_RECIPE)
def register(**said: Any) -> None:
    """Hairlines burnt to the right against hairlines burnt to the left."""
    recipe_of = _recipe_from(said)
    _make(said, lambda wishes: lay_out_register_card(wishes, recipe_of(wishes)))


def _grid(
    wishes: Wishes,
    feeds: tuple[float, float] | None,
    percents: tuple[float, float] | None,
    steps: tuple[int, int],
) -> Grid:
    reach = photo_reach_mm_per_min(wishes.head, wishes.line_spacing_mm, wishes.halftone)
    usual = starting_range(wishes.head, reach)
    if feeds is None and percents is None:
        return Grid.over(usual, *steps)
    low_feed, high_feed = feeds or (usual.low_feed_mm_per_min, usual.high_feed_mm_per_min)
    low, high = percents or (usual.low_power_ratio * 100, usual.high_power_ratio * 100)
    return Grid.over(
        Range(
            low_feed_mm_per_min=low_feed,
            high_feed_mm_per_min=high_feed,
            low_power_ratio=low / 100,
            high_power_ratio=high / 100,
        ),
        *steps,
    )


def _recipe_from(said: dict[str, Any]) -> Callable[[Wishes], Recipe]:
    feed, percent = said.pop("feed_mm_per_min"), said.pop("power_percent")
    usual = PRACTICE_RECIPES.get(said["head_name"])
    if feed is None and usual:
        feed = usual.feed_mm_per_min
    if percent is None and usual:
        percent = usual.power_ratio * 100
    if feed is None or percent is None:
        raise click.UsageError("say --speed and --power: only a practice laser brings its own")

    def recipe_of(wishes: Wishes) -> Recipe:
        return Recipe(
            surface=wishes.surface,
            feed_mm_per_min=feed,
            power_ratio=percent / 100,
            line_spacing_mm=wishes.line_spacing_mm,
            air_assist=wishes.air_assist,
        )

    return recipe_of


def _make(said: dict[str, Any], lay_out: Callable[[Wishes], Card]) -> None:
    try:
        card = lay_out(_wishes(said))
        sheet = prepare_card(
            card, folder=said["folder"], is_replacing=said["is_replacing"], at_mm=said["at_mm"]
        )
    except (EtchproofError, EtchphotoError, WireError) as error:
        raise click.ClickException(f"{error}.") from error
    for note in card.notes:
        click.echo(f"Note: {note}", err=True)
    click.echo(
        f"{sheet.title}: {card.width_mm:.1f} × {card.height_mm:.1f} mm. Etching will take "
        f"{duration(sheet.predicted_s)}.\nThe job is in {said['folder']}. When it is etched, let "
        f"it cool, wipe it, photograph it and say: etchwarden read PHOTO --card {said['folder']}"
    )


def _wishes(said: dict[str, Any]) -> Wishes:
    taken = _numbers_beside(said["folder"])
    number = said["number"] or max(taken, default=0) + 1
    if number in taken and not said["is_replacing"]:
        raise UnfitCard(
            f"card {number} is already in {taken[number]}: leave --number out, or say another"
        )
    return Wishes(
        number=number,
        head=find_head(said["head_name"]),
        surface=said["surface"],
        line_spacing_mm=said["spacing_mm"],
        halftone=said["halftone"],
        place=Place(*said["place_mm"]),
        air_assist=said["air_assist"],
    )


def _numbers_beside(folder: Path) -> dict[int, Path]:
    """Return the numbers of the cards in the folders beside `folder`."""
    taken = {}
    for file in folder.absolute().parent.glob(f"*/{CARD_NAME}"):
        try:
            taken[read_card_file(file).number] = file.parent
        except EtchproofError:
            continue  # a card of another version takes no number of ours
    return taken
