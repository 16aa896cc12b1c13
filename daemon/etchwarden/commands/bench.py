"""`etchwarden bench`: prepared pictures laid into the pockets of a jig become one job."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import click

from etchphoto.layout.bench import (
    BenchPlan,
    Laid,
    prepare_bench,
    prepare_more,
    prepare_some,
)
from etchphoto.layout.jig import Jig
from etchphoto.layout.jig_measuring import with_measured_depth
from etchwarden.shared.daemon_option import Options, daemon_option, with_options
from etchwarden.shared.file_errors import faults_reported
from etchwarden.shared.jigs import find_jig
from etchwarden.shared.job_summary import duration
from etchwarden.shared.machine_calls import daemon_at
from etchwarden.shared.prepare_options import OUTPUT, refusals_reported
from etchwarden.shared.progress import progress_shown
from etchwire.calls.catalogue import Readings
from etchwire.errors import UnreadableSheet
from etchwire.sheet import SHEET_NAME, Sheet, read_sheet

_EPILOG: Final = """\
\b
Examples:
  etchwarden bench prepare coasters.toml 1=ida 2=ida 5=sign -o tonight --tile 90 90
  etchwarden load tonight && etchwarden etch
  etchwarden bench add tonight coasters.toml 3=zoe -o tonight-3   # one more, in a free pocket
  etchwarden bench again tonight 5 -o tile-5        # this tile alone, at its place
  etchwarden bench without tonight 2 -o tonight-7   # all tiles but this one, at their places
"""

_SIZES: Final[Options] = (
    click.option(
        "--tile", "tile_mm", type=float, nargs=2, default=(0.0, 0.0), metavar="WIDTH HEIGHT",
        help="The tiles' measured size; left out, they fill their pockets.",
    ),
    click.option(
        "--thickness", "thickness_mm", type=float, default=0.0, metavar="MM",
        help="How thick the tiles are; the jig may say for which thickness it was focused.",
    ),
    click.option(
        "--warp", "warp_mm", type=float, default=0.0, metavar="MM",
        help="How far the middle of a tile stands off a flat bed.",
    ),
    daemon_option(is_required=False),
)  # fmt: skip
_TILES: Final[Options] = (
    *_SIZES,
    click.option(
        "--lot", "lots", multiple=True, metavar="[POCKET=]LOT",
        help="The painting lot of all tiles, or of the one in that pocket.",
    ),
    click.option("--set", "is_set", is_flag=True, help="They hang side by side: one lot only."),
    click.option("--title", default="", help="What to call the run; else the jig's name."),
)  # fmt: skip


_SOME: Final[Options] = (
    click.argument("bench", type=click.Path(path_type=Path)),
    click.argument("pockets", type=int, nargs=-1, required=True),
    click.option(
        "-o", "--output", "folder", metavar="JOB", type=click.Path(path_type=Path), required=True,
        help="The folder to make.",
    ),
)  # fmt: skip


@click.group(epilog=_EPILOG)
def command() -> None:
    """Benches: several tiles in a jig, etched one after the other in one run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What was said of a bench."""

    jig: str
    socket: Path | None
    laid: tuple[str, ...]
    tile_mm: tuple[float, float]
    thickness_mm: float
    warp_mm: float
    lots: tuple[str, ...] = ()
    is_set: bool = False
    title: str = ""

    def bench(self) -> BenchPlan:
        """Return the plan; raise UnfitDesign."""
        jig = self._in_focus(find_jig(self.jig, self.socket))
        # The lot that is said without a pocket is that of all others.
        lot_of = dict(_numbered(word) if "=" in word else (0, word) for word in self.lots)
        tiles = tuple(
            Laid(
                pocket=pocket,
                job=Path(job),
                width_mm=self.tile_mm[0],
                height_mm=self.tile_mm[1],
                thickness_mm=self.thickness_mm,
                warp_mm=self.warp_mm,
                lot=lot_of.get(pocket, lot_of.get(0, "")),
            )
            for pocket, job in map(_numbered, self.laid)
        )
        return BenchPlan(name=self.title or jig.name, jig=jig, laid=tiles, is_set=self.is_set)

    def _in_focus(self, jig: Jig) -> Jig:
        """Return the jig with the depth of focus that the laser's focus card showed, if any did."""
        if self.socket is None or jig.focus_depth_mm:
            return jig
        laser = read_sheet(Path(_numbered(self.laid[0])[1])).head.name
        with daemon_at(self.socket) as daemon:
            return with_measured_depth(jig, daemon.ask(Readings(head=laser)).readings)


@command.command()
@click.argument("jig")
@click.argument("laid", metavar="POCKET=JOB...", nargs=-1, required=True)
@with_options((*OUTPUT, *_TILES))
def prepare(folder: Path, is_replacing: bool, **said: Any) -> None:
    """Make one job of the prepared JOBs, each laid into its POCKET of JIG, a kept one or a file.

    Every picture comes to lie in the middle of its tile. Tiles at the exhaust are etched first, so
    that smoke does not cross coats that still wait; between tiles the beam is off.
    """
    with refusals_reported():
        plan = _Plan(**said).bench()
        with progress_shown("Preparing") as show_progress:
            sheet = prepare_bench(
                plan, folder=folder, is_replacing=is_replacing, on_progress=show_progress
            )
    _say(sheet, folder)
    if plan.empty:
        numbers = ", ".join(map(str, plan.empty))
        click.echo(f"Nothing lies in pocket{'s' if len(plan.empty) > 1 else ''} {numbers}.")


@command.command("list")
@click.argument("folder", default=".", type=click.Path(path_type=Path, file_okay=False))
def list_benches(folder: Path) -> None:
    """List the benches that were made in FOLDER: their tiles, their pockets, how long they take."""
    with faults_reported(folder):
        folders = sorted(path for path in folder.iterdir() if (path / SHEET_NAME).is_file())
    lines = [line for path in folders for line in _listed(path)]
    click.echo("\n".join(lines) or f"There is no bench in {folder}.")


def _listed(bench: Path) -> list[str]:
    try:
        sheet = read_sheet(bench)
    except UnreadableSheet as error:
        return [f"{bench}: cannot be read: {error}."]
    if not sheet.parts:
        return []
    pockets = ", ".join(str(part.pocket) for part in sheet.parts)
    return [
        f"{bench}: {sheet.title}, {_counted(sheet)} in pocket{'s'[: len(sheet.parts) > 1]} "
        f"{pockets}, {duration(sheet.predicted_s)}"
    ]


@command.command()
@click.argument("bench", type=click.Path(path_type=Path))
@click.argument("jig")
@click.argument("laid", metavar="POCKET=JOB...", nargs=-1, required=True)
@click.option(
    "-o", "--output", "folder", metavar="JOB", type=click.Path(path_type=Path), required=True,
    help="The folder to make.",
)  # fmt: skip
@with_options(_SIZES)
def add(bench: Path, folder: Path, **said: Any) -> None:
    """Make a job of BENCH and of further prepared JOBS, each laid into an empty POCKET of its JIG.

    The tiles of BENCH keep their places, and BENCH stays as it is. Their lots are not written in
    it: tiles that will hang side by side are laid at once, with `prepare --set`.
    """
    with refusals_reported():
        _say(prepare_more(bench, _Plan(**said).bench(), folder=folder), folder)


@command.command()
@click.argument("bench", type=click.Path(path_type=Path))
def show(bench: Path) -> None:
    """Say what lies in which pocket of BENCH, in the order of etching."""
    with refusals_reported():
        _say(read_sheet(bench), bench)


@command.command()
@with_options(_SOME)
def again(bench: Path, pockets: tuple[int, ...], folder: Path) -> None:
    """Make a job of the tiles in these POCKETS of BENCH, each at its place."""
    with refusals_reported():
        _say(prepare_some(bench, pockets, folder=folder), folder)


@command.command()
@with_options(_SOME)
def without(bench: Path, pockets: tuple[int, ...], folder: Path) -> None:
    """Make a job of all tiles of BENCH but those in these POCKETS, each at its place."""
    with refusals_reported():
        _say(prepare_some(bench, pockets, folder=folder, is_left_out=True), folder)


def _numbered(word: str) -> tuple[int, str]:
    """Return pocket and rest of a word like 5=ida."""
    number, equals, rest = word.partition("=")
    if not (equals and rest and number.isdecimal()):
        raise click.UsageError(f"{word!r} says no pocket: write it as 5=JOB.")
    return int(number), rest


def _counted(sheet: Sheet) -> str:
    return f"{len(sheet.parts)} tile{'s' if len(sheet.parts) > 1 else ''}"


def _say(sheet: Sheet, folder: Path) -> None:
    recipe = sheet.recipe
    click.echo(
        f"{sheet.title}: {_counted(sheet)} on {recipe.surface}, {sheet.head.name} at "
        f"{recipe.feed_mm_per_min:g} mm/min and {recipe.power_ratio * 100:g} %."
    )
    for number, part in enumerate(sheet.parts, 1):
        place = part.picture
        click.echo(
            f"{number}. Pocket {part.pocket}: {part.title}, from x {place.left_mm:.2f}, "
            f"y {place.bottom_mm:.2f} to x {place.right_mm:.2f}, y {place.top_mm:.2f} mm"
        )
    click.echo(f"Etching will take {duration(sheet.predicted_s)}.\nThe job is in {folder}.")
