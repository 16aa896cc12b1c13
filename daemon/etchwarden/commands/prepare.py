"""`etchwarden prepare`: a photo becomes a job in a folder."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from etchpath.writer.raster import Bits
from etchphoto.decoder.loading import load_photo
from etchphoto.errors import UnfitOrder
from etchphoto.estimate import picture_findings, speed_findings
from etchphoto.etch_time import etching_s
from etchphoto.framing import Crop
from etchphoto.halftone import KERNELS, Coverage
from etchphoto.job.order import FROM_TEST_CARD, LETTERING, PhotoOrder
from etchphoto.job.order_findings import findings
from etchphoto.job.prepare import prepare_job
from etchphoto.tone import Adjustments
from etchphoto.turning import turned
from etchwarden.shared.daemon_option import Options, with_options
from etchwarden.shared.job_summary import duration, summary
from etchwarden.shared.prepare_options import (
    ONE_WAY,
    OUTPUT,
    PLACE,
    SETTINGS,
    SURFACE,
    WORDS,
    OrderOptions,
    refusals_reported,
    say_notes,
)
from etchwarden.shared.progress import progress_shown
from etchwire.catalogue.halftones import halftone_name

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

_OPTIONS: Final[Options] = (
    click.argument("photo", type=click.Path(path_type=Path)),
    *OUTPUT,
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
    *SETTINGS,
    click.option(
        "--halftone", metavar="KIND",
        help="How grey becomes dots: smooth, firm, crisp, lettering (and line art), or test-card: "
        "from your test card, where a tone card was read. Left out: from your test card once a "
        "tile etched so was judged good, else as the recipe was found with, else what suits the "
        "laser's spot.",
    ),
    click.option("--brightness", default=0.0, metavar="POINTS", help="Lighten by -100 to 100."),
    click.option("--contrast", default=1.0, metavar="FACTOR", help="Above 1 stretches the greys."),
    click.option("--gamma", default=1.0, help="Above 1 brightens the middle greys."),
    click.option(
        "--open-shadows", default=0.0, metavar="AMOUNT",
        help="Lighten dark hair and coats: 0 keeps the photo's light, 100 goes half-way to equal "
        "steps of lightness. Fair portraits do without.",
    ),
    click.option("--local-contrast", default=0.0, help="Lift things off what lies round them: 1."),
    click.option("--sharpness", default=0.0, help="Lift edges between neighbouring dots: 1."),
    click.option(
        "--turn", "quarters", type=click.IntRange(0, 3), default=0, metavar="QUARTERS",
        help="Turn the photo clockwise, before --crop.",
    ),
    *ONE_WAY,
    *PLACE,
    *SURFACE,
    *WORDS,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options(OrderOptions):
    """What was said on the command line; None for what was not."""

    photo: Path
    folder: Path
    is_replacing: bool
    width_mm: float | None
    height_mm: float | None
    crop: tuple[float, float, float, float] | None
    halftone: str | None
    brightness: float
    contrast: float
    gamma: float
    local_contrast: float
    sharpness: float
    open_shadows: float
    quarters: int
    title: str | None


@click.command(epilog=_EPILOG)
@with_options(_OPTIONS)
def command(**said: Any) -> None:
    """Turn PHOTO into a job that a tile can hold.

    The photo may be JPEG (up to 220 million pixels), PNG or TIFF (52), HEIC (41) or WebP (12). It
    gets exactly one dot per line spacing; nothing is resampled afterwards.
    With --daemon the logbook's recipe for the laser and the surface is used, greys and register
    as they were measured. Else a practice laser brings speed, power and spacing with it; for your
    own, name all three.
    """
    with refusals_reported():
        _prepare(_Options(**said))


def _prepare(options: _Options) -> None:
    order = _order(options)
    photo = turned(load_photo(options.photo), options.quarters)
    times: list[str] = []
    notes = list(findings(photo, order))

    def look(coverage: Coverage, bits: Bits) -> None:
        darkness = order.tone_curve.looks_like(coverage)
        notes.extend(picture_findings(darkness, bits, is_lettering=order.halftone == LETTERING))
        if order.dot is not None and order.halftone != LETTERING:
            times.append(_times_text(darkness, order))

    with progress_shown("Preparing") as show_progress:
        sheet = prepare_job(
            photo,
            order,
            folder=options.folder,
            is_replacing=options.is_replacing,
            on_progress=show_progress,
            on_dots=look,
        )
    say_notes((*notes, *speed_findings(sheet)))
    report_text = "\n".join([summary(sheet), *times])
    click.echo(f"{report_text}\nThe job is in {options.folder}.")


def _times_text(darkness: Coverage, order: PhotoOrder) -> str:
    """Return how long each way of making dots would etch, beside each other."""
    parts = (
        f"{halftone_name(kind)} {duration(etching_s(darkness, replace(order, halftone=kind)))}"
        for kind in (*KERNELS, FROM_TEST_CARD)
        if kind != order.halftone
    )
    return f"With other dots, about: {', '.join(parts)}."


def _order(options: _Options) -> PhotoOrder:
    if options.width_mm is None:
        raise UnfitOrder("say how wide the picture is to be, in millimetres: --width 100")
    return replace(
        options.order(width_mm=options.width_mm, halftone=options.halftone),
        height_mm=options.height_mm,
        crop=Crop(*options.crop) if options.crop else None,
        adjustments=Adjustments(
            brightness=options.brightness,
            contrast=options.contrast,
            gamma=options.gamma,
            local_contrast=options.local_contrast,
            sharpness=options.sharpness,
            open_shadows=options.open_shadows,
        ),
        title=options.title,
    )
