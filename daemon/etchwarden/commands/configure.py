"""`etchwarden configure`: write a machine's first file by asking, or check a file."""

import os
from pathlib import Path

import click

from etchdaemon.configuration.loading import (
    Configuration,
    load_configuration,
    read_configuration,
)
from etchdaemon.hardware.gpio_lines import Lines
from etchdaemon.hardware.serial_port import NO_PORT_NAMED
from etchdaemon.interlocks.checks.wiring_gaps import wiring_gaps
from etchwarden.configuring.checking import faults_of
from etchwarden.configuring.questions import (
    TerminalPrompt,
    UnfitAnswer,
    answers_in,
    answers_of_person,
    ports,
)
from etchwarden.configuring.writing import Answers, written
from etchwarden.installation.file_layout import write_whole
from etchwarden.shared.wiring_drawing import SEE_DRAWING
from etchweb.fleet.settings import MACHINE_NAME
from etchwire.configuration.faults import FaultyConfiguration
from etchwire.configuration.source import Source


@click.command()
@click.argument("name", required=False)
@click.option("--folder", metavar="FOLDER", type=click.Path(file_okay=False, path_type=Path),
    default=Path("/etc/etchwarden"), show_default=True, help="Where the machines' files lie.",
)  # fmt: skip
@click.option("--answers", metavar="FILE", type=click.Path(path_type=Path),
    help="Take the answers from this TOML file, and ask nobody.",
)  # fmt: skip
@click.option("--check", is_flag=True, help="Only check the file that is there.")
@click.option("--replace", is_flag=True, help="Write anew, and keep the old file as NAME.toml.old.")
@click.option("--ports", "lists_ports", is_flag=True, help="Only list the serial ports there are.")
def command(
    name: str | None,
    folder: Path,
    answers: Path | None,
    check: bool,
    replace: bool,
    lists_ports: bool,
) -> None:
    """Write the file of the machine NAME by asking how it is connected and wired.

    Every entry is explained in the file itself. The daemon reads it when it starts; what it says
    about safety is changed there and nowhere else.
    """
    if lists_ports:
        click.echo("\n".join(ports()) or "There is no serial port. Is the cable in?")
        return
    if name is None or not MACHINE_NAME.fullmatch(name) or name == "page":
        raise click.UsageError("A machine's name is of small letters, digits and “-”, as “left”.")
    path = folder / f"{name}.toml"
    try:
        if check:
            _check(path)
        else:
            _write(name, path, answers, replace=replace)
    except FaultyConfiguration as error:
        raise click.ClickException(str(error)) from error
    except UnfitAnswer as error:
        raise click.ClickException(f"{answers}: {error}") from error
    except PermissionError as error:
        raise click.ClickException(f"{error.filename or path}: you may not. Use sudo.") from error
    except OSError as error:
        raise click.ClickException(f"{error.filename or path}: {error.strerror}.") from error


def _check(path: Path) -> None:
    read = load_configuration(path)
    click.echo(f"{path} is in order.")
    _say_what_is_missing(read)


def _say_what_is_missing(read: Configuration) -> None:
    if not read.port:
        click.echo(NO_PORT_NAMED)
    for lack in wiring_gaps(read.setup.wired):
        click.echo(f"Not wired: {lack.sentence}")
    click.echo(SEE_DRAWING)


def _write(name: str, path: Path, answers: Path | None, *, replace: bool) -> None:
    if path.exists() and not replace:
        raise click.ClickException(f"{path} is there already. Edit it, or use --replace.")
    _require_writable(path.parent)
    given = _asked() if answers is None else answers_in(Source.at(answers).values)
    if faults := faults_of(given):
        raise FaultyConfiguration(faults)
    if path.exists():
        write_whole(path.with_name(f"{path.name}.old"), path.read_bytes())
    text = written(name, given)
    write_whole(path, text.encode())
    click.echo(f"Written to {path}. Read it, and see that it is right.")
    _say_what_is_missing(read_configuration(text))
    click.echo(f"Then: sudo systemctl enable --now etchwarden-daemon@{name}")


def _asked() -> Answers:
    found = ports()
    click.echo(
        "Serial ports of this board:"
        if found
        else "There is no serial port. Put the cable in and begin anew, or answer “later”."
    )
    for number, port in enumerate(found, 1):
        click.echo(f"  {number}  {port}")
    chips = [chip.label for chip in Lines().chips()]
    click.echo(f"GPIO chips: {', '.join(chips) or 'none'}")
    click.echo("Enter alone takes what stands in brackets. Ctrl-C ends it, and nothing is written.")
    return answers_of_person(TerminalPrompt().ask, click.echo, found)


def _require_writable(folder: Path) -> None:
    """Tell beforehand, and not after all the questions."""
    while not folder.exists():
        folder = folder.parent
    if not os.access(folder, os.W_OK, effective_ids=True):
        raise click.ClickException(f"You may not write into {folder}. Use sudo.")
