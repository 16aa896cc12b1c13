"""`etchwarden design`: designs in files, shown on their tile and made into jobs."""

import re
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from etchpath.writer.raster import Bits
from etchphoto.decoder.loading import load_photo
from etchphoto.errors import NotADesign, UnfitDesign
from etchphoto.estimate import dot_findings, speed_findings
from etchphoto.layout.composing import set_letterings
from etchphoto.layout.design import Design, Layer, LetteringLayer, MaskLayer, OutlineLayer, kind_of
from etchphoto.layout.design_file import read_design
from etchphoto.layout.design_job import DesignJob, design_job, prepare_design
from etchphoto.layout.tile_picture import tile_png
from etchphoto.lettering.fonts import found_fonts
from etchphoto.lettering.setting import SetText
from etchwarden.shared.daemon_option import Options, with_options
from etchwarden.shared.file_errors import faults_reported
from etchwarden.shared.job_summary import summary
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
from etchwire.storing import write_whole

_EPILOG: Final = """\
\b
A design is a file like this, its layers from the lowest up; millimetres count from the tile's
upper left corner, and a layer without a box fills the tile inside its margin:
  format = "etchwarden-design"
  version = 1
  name = "Portrait with a name"

\b
  [tile]
  width_mm = 100
  height_mm = 100
  margin_mm = 2          # nothing lies nearer to the edge; 2 where it is left out

\b
  [[layer]]
  kind = "photo"         # also: box, crop, turn, halftone, brightness, contrast, gamma,
                         # open_shadows, local_contrast, sharpness: as in `prepare`
  [[layer]]
  kind = "mask"          # clears what lies outside it in the layers before
  shape = "oval"         # rectangle, rounded (corner_mm), circle, oval
  soft_mm = 8            # how far the photo fades to white; 0 where it is left out

\b
  [[layer]]
  kind = "lettering"
  name = "who"           # another text is given by it: --text who "Ida"
  text = "Ida"
  font = "DejaVu Serif Bold"   # left out: DejaVu Sans, or Aileron where that is missing
  size_mm = 6            # of a capital letter; left out, the text fills its box
  box = { left_mm = 10, top_mm = 84, width_mm = 80, height_mm = 12 }
  align = "centre"       # left, centre, right; stand = top, middle, bottom; leading = 1.8
  ink = "white"          # burnt where it is left out
  field_mm = 1.5         # a field of the other colour, so far beyond the letters

\b
  [[layer]]
  kind = "outline"       # a line inside its shape; also: box, corner_mm, ink
  shape = "rounded"
  line_mm = 0.8
"""

_DESIGN: Final = click.argument("file", metavar="DESIGN", type=click.Path(path_type=Path))
_CONTENT: Final[Options] = (
    click.option(
        "--photo", metavar="PHOTO", type=click.Path(path_type=Path),
        help="The photo for the design's photo layer.",
    ),
    click.option(
        "--text", "texts", type=str, nargs=2, multiple=True, metavar="NAME TEXT",
        help="Another text for the lettering of that name; \\n begins a new line.",
    ),
)  # fmt: skip
_USE: Final[Options] = (*_CONTENT, *SETTINGS, *ONE_WAY, *PLACE, *SURFACE, *WORDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Use(OrderOptions):
    """What was said of how to use a design; None for what was not."""

    file: Path
    photo: Path | None
    texts: tuple[tuple[str, str], ...]
    title: str | None

    @property
    def design(self) -> Design:
        """The design with its texts."""
        design = read_design(self.file)
        for name, text in self.texts:
            design = design.with_text(name, text.replace("\\n", "\n"))
        return design

    def job(self) -> DesignJob:
        """Return the design as it is etched with laser and recipe."""
        design = self.design
        halftone = design.photo.halftone if design.photo else ""
        order = self.order(width_mm=design.tile.width_mm, halftone=halftone)
        order = replace(order, title=self.title)
        return design_job(design, order, None if self.photo is None else load_photo(self.photo))


@click.group(epilog=_EPILOG)
def command() -> None:
    """Designs: photo, lettering, outlines and masks on one tile, in millimetres.

    A design is a file; used with another photo or another text it is a template.
    """


@command.command("list")
@click.argument("folder", default=".", type=click.Path(path_type=Path, file_okay=False))
def list_designs(folder: Path) -> None:
    """List the designs in FOLDER, and what is wrong with those that cannot be used."""
    with faults_reported(folder):
        files = sorted(folder.iterdir())
    lines = [line for file in files if file.suffix == ".toml" for line in _listed(file)]
    click.echo("\n".join(lines) or f"There is no design in {folder}.")


@command.command()
@_DESIGN
@click.argument("folder", default=".", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--replace", "is_replacing", is_flag=True, help="Replace the design of that name in FOLDER."
)
def add(file: Path, folder: Path, is_replacing: bool) -> None:
    """Keep DESIGN in FOLDER under its name, where `list` finds it, to be used again.

    It is taken as a whole, or not at all: every layer has to lie on its tile, every font to be on
    this computer and to have the letters.
    """
    with refusals_reported():
        design = read_design(file)
        set_letterings(design)
    with faults_reported(folder):
        kept = _kept_as(design.name, folder)
        if kept.exists() and not is_replacing:
            raise click.ClickException(
                f"There is a design called {design.name} in {folder} ({kept.name}): give this one "
                "another name, or ask for the other to be replaced (--replace)."
            )
        write_whole(kept, file.read_text(encoding="utf-8"))
    click.echo(f"{design.name} is kept in {kept}.")


def _kept_as(name: str, folder: Path) -> Path:
    """Return the file in which a design of this name is kept, or would be."""
    for file in sorted(folder.iterdir()):
        if file.suffix == ".toml":
            with suppress(UnfitDesign):
                if read_design(file).name == name:
                    return file
    words = re.sub(r"[^\w]+", "-", name).strip("-").lower() or "design"
    path, number = folder / f"{words}.toml", 2
    while path.exists():  # another design's, whose name looks like it
        path, number = folder / f"{words}-{number}.toml", number + 1
    return path


def _listed(file: Path) -> list[str]:
    try:
        design = read_design(file)
    except NotADesign:
        return []
    except UnfitDesign as error:
        return [f"Cannot be used: {error}."]
    kinds = ", ".join(kind_of(layer) for layer in design.layers)
    return [f"{file}: {design.name}, {_size(design)}: {kinds}"]


@command.command()
def fonts() -> None:
    """List the fonts of this computer, by the names that designs call them."""
    click.echo("\n".join(found_fonts()))


@command.command()
@_DESIGN
@with_options(_USE)
@click.option(
    "--picture", metavar="PNG", type=click.Path(path_type=Path),
    help="Draw the tile to scale, in its measured black and white, into this file.",
)  # fmt: skip
def show(picture: Path | None, **said: Any) -> None:
    """Say what is in DESIGN, layer by layer, and draw it on its tile."""
    use = _Use(**said)
    with refusals_reported():
        design = use.design
        letterings = set_letterings(design)
        click.echo(f"{design.name}: a tile of {_size(design)}.")
        for number, layer in enumerate(design.layers):
            click.echo(f"{number + 1}. {_words(design, layer, letterings.get(number))}")
        if picture is None and (design.photo is None) != (use.photo is None):
            return  # a template on its own
        job = use.job()
        say_notes(job.findings)
        if picture is not None:
            drawn = tile_png(job.bits(), design.tile, job.order.look)
            with faults_reported(picture):
                write_whole(picture, drawn)
            click.echo(f"The tile is drawn in {picture}.")


@command.command()
@_DESIGN
@with_options((*OUTPUT, *_USE))
def prepare(folder: Path, is_replacing: bool, **said: Any) -> None:
    """Turn DESIGN into a job, as `etchwarden prepare` does with a photo."""
    use = _Use(**said)
    with refusals_reported():
        job = use.job()
        dots: list[Bits] = []
        with progress_shown("Preparing") as show_progress:
            sheet = prepare_design(
                job,
                folder=folder,
                is_replacing=is_replacing,
                on_progress=show_progress,
                on_dots=dots.append,
            )
    say_notes((*job.findings, *dot_findings(dots[0]), *speed_findings(sheet)))
    click.echo(f"{summary(sheet)}\nThe job is in {folder}.")


def _size(design: Design) -> str:
    return f"{design.tile.width_mm:g} × {design.tile.height_mm:g} mm"


def _words(design: Design, layer: Layer, text: SetText | None) -> str:
    """Return what a layer is, where it lies and how large, as one line."""
    box = design.box_of(layer) if text is None else text.ink
    where = (
        f"{box.width_mm:.1f} × {box.height_mm:.1f} mm, {box.left_mm:.1f} mm from the left and "
        f"{box.top_mm:.1f} mm from the top"
    )
    if isinstance(layer, LetteringLayer) and text is not None:
        lines = " / ".join(line.text for line in text.lines)
        name = f" ({layer.name})" if layer.name else ""
        return (
            f"lettering{name}: “{lines}” in {text.font.name}, {layer.ink}, capitals "
            f"{text.capital_mm:.1f} mm, thin strokes {text.stroke_mm:.2f} mm: {where}"
        )
    if isinstance(layer, OutlineLayer):
        return f"outline: {layer.shape}, {layer.ink}, {layer.line_mm:g} mm wide: {where}"
    if isinstance(layer, MaskLayer):
        return f"mask: {layer.shape}, soft over {layer.soft_mm:g} mm: {where}"
    return f"photo: {where}"
