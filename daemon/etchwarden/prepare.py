"""`etchwarden prepare`: a photo becomes a job in a folder."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from etchphoto.errors import EtchphotoError, NeedsAcknowledgement, UnfitOrder
from etchphoto.framing import Crop, line_spacing_mm
from etchphoto.halftone import HALFTONES
from etchphoto.job import DEFAULT_HALFTONE, PhotoOrder, findings, prepare_job
from etchphoto.loading import load_photo
from etchphoto.tone import Adjustments
from etchphoto.turning import turned
from etchwarden.heads import find_head
from etchwarden.job_summary import summary
from etchwarden.progress import progress_shown
from etchwire.craft import Recipe
from etchwire.errors import WireError
from etchwire.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_RECIPES

_EPILOG: Final = """\
\b
Examples:
  etchwarden prepare portrait.jpg -o portrait --width 100
  etchwarden prepare portrait.heic -o portrait --width 100 --height 150 \\
      --head my-laser.toml --speed 3000 --power 70 --spacing 0.1

\b
A file about a laser, here an invented one:
  name = "the one in the shed"
  rated_optical_w = 10.0
  spot_x_mm = 0.08           # along the rows
  spot_y_mm = 0.08           # across the rows: lines lie no closer
  is_spot_measured = false   # false: the maker's figure
  max_s = 1000.0             # the controller's full power
  max_feed_mm_per_min = 10000.0
  acceleration_mm_per_s2 = 800.0
  travel_x_mm = 400.0
  travel_y_mm = 400.0

\b
  [register]                 # only when a register card was read
  beam_lag_s = 0.0004
  slack_mm = 0.06
  is_measured = true
"""

_SETTINGS: Final[tuple[Callable[[Any], Any], ...]] = (
    click.argument("photo", type=click.Path(path_type=Path)),
    click.option(
        "-o", "--output", "folder", metavar="JOB", type=click.Path(path_type=Path), required=True,
        help="The folder to make; it will hold the G-code, its sheet and the tile as promised.",
    ),
    click.option("--replace", "is_replacing", is_flag=True, help="Replace a job that is there."),
    click.option("--width", "width_mm", metavar="MM", type=float, help="Width of the picture."),
    click.option(
        "--height", "height_mm", metavar="MM", type=float,
        help="Height of the picture; left out, the photo's shape decides it.",
    ),
    click.option(
        "--crop", type=float, nargs=4, metavar="LEFT TOP RIGHT BOTTOM",
        help="Part of the photo to use, as shares of its width and height; the middle is used "
        "where the tile has another shape.",
    ),
    click.option(
        "--head", metavar="LASER", default=DEFAULT_HEAD, show_default=True,
        help=f"A TOML file about your laser, or {', '.join(PRACTICE_HEADS)}.",
    ),
    click.option(
        "--speed", "feed_mm_per_min", metavar="MM/MIN", type=float, help="Speed while etching."
    ),
    click.option(
        "--power", "power_percent", metavar="PERCENT", type=float,
        help="Power while etching, of all the laser has.",
    ),
    click.option("--spacing", "spacing_mm", metavar="MM", type=float, help="From line to line."),
    click.option("--lines-per-inch", type=float, metavar="LINES", help="The same, in inches."),
    click.option(
        "--halftone", default=DEFAULT_HALFTONE, show_default=True, metavar="KIND",
        help=f"How grey becomes dots: {', '.join(HALFTONES)} (for lettering and line art).",
    ),
    click.option("--brightness", default=0.0, metavar="POINTS", help="Lighten by -100 to 100."),
    click.option("--contrast", default=1.0, metavar="FACTOR", help="Above 1 stretches the greys."),
    click.option("--gamma", default=1.0, help="Above 1 brightens the middle greys."),
    click.option("--local-contrast", default=0.0, help="Lift things off what lies round them: 1."),
    click.option("--sharpness", default=0.0, help="Lift edges between neighbouring dots: 1."),
    click.option(
        "--turn", "quarters", type=click.IntRange(0, 3), default=0, metavar="QUARTERS",
        help="Turn the photo clockwise, before --crop.",
    ),
    click.option("--one-way", "is_one_way", is_flag=True, help="Etch every row left to right."),
    click.option(
        "--at", "at_mm", type=float, nargs=2, metavar="X Y",
        help="Lower left corner of the picture, in millimetres from the origin.",
    ),
    click.option("--surface", metavar="TEXT", help="Tile and paint, for the record."),
    click.option("--title", metavar="TEXT", help="What to call the job; else the photo's name."),
    click.option(
        "--acknowledge", "acknowledged", multiple=True, metavar="NAME",
        help="Say yes to a finding that would stop the job; the message gives its name.",
    ),
)  # fmt: skip


def _with_settings(function: Callable[..., None]) -> Callable[..., None]:
    for setting in reversed(_SETTINGS):
        function = setting(function)
    return function


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wishes:
    """What was said on the command line; None for what was not."""

    photo: Path
    folder: Path
    is_replacing: bool
    width_mm: float | None
    height_mm: float | None
    crop: tuple[float, float, float, float] | None
    head: str
    feed_mm_per_min: float | None
    power_percent: float | None
    spacing_mm: float | None
    lines_per_inch: float | None
    halftone: str
    brightness: float
    contrast: float
    gamma: float
    local_contrast: float
    sharpness: float
    quarters: int
    is_one_way: bool
    at_mm: tuple[float, float] | None
    surface: str | None
    title: str | None
    acknowledged: tuple[str, ...]


@click.command(epilog=_EPILOG)
@_with_settings
def command(**said: Any) -> None:
    """Turn PHOTO into a job that a tile can hold.

    The photo may be JPEG, PNG, WebP, TIFF or HEIC. It gets exactly one dot per line spacing.
    A practice laser brings speed, power and spacing with it; for your own, name all three.
    """
    wishes = _Wishes(**said)
    try:
        _prepare(wishes)
    except NeedsAcknowledgement as error:
        names = " ".join(f"--acknowledge {finding.name}" for finding in error.findings)
        raise click.ClickException(f"{error} If you want it so, add {names}") from error
    except (EtchphotoError, WireError) as error:
        raise click.ClickException(f"{error}.") from error


def _prepare(wishes: _Wishes) -> None:
    order = _order(wishes)
    photo = turned(load_photo(wishes.photo), wishes.quarters)
    for finding in findings(photo, order):
        if not finding.needs_acknowledgement:
            click.echo(f"Note: {finding.sentence}", err=True)
    with progress_shown("Preparing") as show_progress:
        sheet = prepare_job(
            photo,
            order,
            folder=wishes.folder,
            is_replacing=wishes.is_replacing,
            on_progress=show_progress,
        )
    click.echo(f"{summary(sheet)}\nThe job is in {wishes.folder}.")


def _order(wishes: _Wishes) -> PhotoOrder:
    if wishes.width_mm is None:
        raise UnfitOrder("say how wide the picture shall be, in millimetres: --width 100")
    at_x_mm, at_y_mm = wishes.at_mm or (None, None)
    return PhotoOrder(
        head=find_head(wishes.head),
        recipe=_recipe(wishes),
        width_mm=wishes.width_mm,
        height_mm=wishes.height_mm,
        crop=Crop(*wishes.crop) if wishes.crop else None,
        adjustments=Adjustments(
            brightness=wishes.brightness,
            contrast=wishes.contrast,
            gamma=wishes.gamma,
            local_contrast=wishes.local_contrast,
            sharpness=wishes.sharpness,
        ),
        halftone=wishes.halftone,
        is_both_directions=not wishes.is_one_way,
        at_x_mm=at_x_mm,
        at_y_mm=at_y_mm,
        title=wishes.title,
        acknowledged=frozenset(wishes.acknowledged),
    )


def _recipe(wishes: _Wishes) -> Recipe:
    power_percent = _positive("power", wishes.power_percent, "percent")
    changes = {
        "feed_mm_per_min": _positive("speed", wishes.feed_mm_per_min, "mm/min"),
        "power_ratio": None if power_percent is None else power_percent / 100,
        "line_spacing_mm": _positive("line spacing", _spacing_mm(wishes), "millimetres"),
        "surface": wishes.surface,
    }
    said: dict[str, Any] = {name: value for name, value in changes.items() if value is not None}
    if wishes.head in PRACTICE_RECIPES:
        return replace(PRACTICE_RECIPES[wishes.head], **said)
    for name, option in _NEEDED.items():
        if name not in said:
            raise UnfitOrder(f"say {option}: only a practice laser brings its own")
    return Recipe(**{"surface": "not stated", **said})


_NEEDED: Final = {
    "feed_mm_per_min": "how fast to etch, --speed in mm/min",
    "power_ratio": "with which power, --power in percent",
    "line_spacing_mm": "how far lines lie apart, --spacing in mm or --lines-per-inch",
}


def _positive(name: str, value: float | None, unit: str) -> float | None:
    if value is None or 0 < value < math.inf:
        return value
    raise UnfitOrder(f"the {name} must be a number of {unit} above zero, not {value:g}")


def _spacing_mm(wishes: _Wishes) -> float | None:
    if wishes.lines_per_inch is None:
        return wishes.spacing_mm
    if wishes.spacing_mm is not None:
        raise UnfitOrder(
            "lines per inch and spacing are one number: say --spacing or --lines-per-inch, not both"
        )
    return line_spacing_mm(wishes.lines_per_inch)
