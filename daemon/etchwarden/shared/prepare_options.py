"""What the commands that prepare a job share: options, and how they end when it cannot be made."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click

from etchphoto.dots.speeds import Motion
from etchphoto.errors import EtchphotoError, NeedsAcknowledgement
from etchphoto.findings import PhotoFinding
from etchphoto.job.order import PhotoOrder
from etchphoto.job.order_findings import suited_halftone
from etchwarden.shared.daemon_option import Options, daemon_option
from etchwarden.shared.prepare_recipe import Chosen, RecipeOptions, choose_recipe
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_HEADS
from etchwire.catalogue.halftones import halftone_key
from etchwire.errors import WireError

OUTPUT: Final[Options] = (
    click.option(
        "-o", "--output", "folder", metavar="JOB", type=click.Path(path_type=Path), required=True,
        help="The folder to make; it will hold the G-code, its sheet and the tile as promised.",
    ),
    click.option("--replace", "is_replacing", is_flag=True, help="Replace a job that is there."),
)  # fmt: skip
SETTINGS: Final[Options] = (
    click.option(
        "--head", metavar="LASER", default=DEFAULT_HEAD, show_default=True,
        help=f"A laser of the logbook, a TOML file, or {', '.join(PRACTICE_HEADS)}.",
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
)  # fmt: skip
SURFACE: Final[Options] = (
    click.option("--surface", metavar="TEXT", help="Tile and paint; with --daemon, by its name."),
    click.option(
        "--air-assist/--no-air-assist", "air_assist", default=None,
        help="How air assist will be; left out, as the recipe has it.",
    ),
    daemon_option(is_required=False),
)  # fmt: skip
ONE_WAY: Final[Options] = (
    click.option("--one-way", "is_one_way", is_flag=True, help="Etch every row left to right."),
)
PLACE: Final[Options] = (
    click.option(
        "--at", "at_mm", type=float, nargs=2, metavar="X Y",
        help="Lower left corner of the picture, in millimetres from the origin.",
    ),
)  # fmt: skip
ACKNOWLEDGE: Final[Options] = (
    click.option(
        "--acknowledge", "acknowledged", multiple=True, metavar="NAME",
        help="Say yes to a finding that would stop the job; the message gives its name.",
    ),
)  # fmt: skip
WORDS: Final[Options] = (
    click.option("--title", metavar="TEXT", help="What to call the job; else the photo's name."),
    *ACKNOWLEDGE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderOptions(RecipeOptions):
    """What was said of a job, whatever it is made of; None for what was not."""

    is_one_way: bool
    at_mm: tuple[float, float] | None
    acknowledged: tuple[str, ...]

    def order(self, *, width_mm: float, halftone: str | None) -> PhotoOrder:
        """Return the order with laser and recipe chosen; raise UnfitOrder."""
        chosen = choose_recipe(self)
        at_x_mm, at_y_mm = self.at_mm or (None, None)
        return PhotoOrder(
            head=chosen.head,
            recipe=chosen.recipe,
            tone=chosen.tone,
            width_mm=width_mm,
            halftone=self._halftone(halftone, chosen),
            is_both_directions=not self.is_one_way,
            at_x_mm=at_x_mm,
            at_y_mm=at_y_mm,
            acknowledged=frozenset(self.acknowledged),
        )

    def _halftone(self, said: str | None, chosen: Chosen) -> str:
        """Return the key of the halftone: as said, as the recipe has it, or what suits the spot."""
        key = halftone_key(said or chosen.halftone)
        return key or suited_halftone(Motion(chosen.head, chosen.recipe, not self.is_one_way))


def say_notes(findings: Iterable[PhotoFinding]) -> None:
    """Say what is worth knowing; what stops the job without a yes is said where it does."""
    for note in findings:
        if not note.needs_acknowledgement:
            click.echo(f"Note: {note.sentence}", err=True)


@contextmanager
def refusals_reported() -> Iterator[None]:
    """End the command with the sentence of what was refused, and how to say yes to it."""
    try:
        yield
    except NeedsAcknowledgement as error:
        names = " ".join(f"--acknowledge {finding.name}" for finding in error.findings)
        raise click.ClickException(f"{error} If you want it so, add {names}") from error
    except (EtchphotoError, WireError) as error:
        raise click.ClickException(f"{error}.") from error
